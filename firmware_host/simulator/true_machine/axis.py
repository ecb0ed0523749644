"""A true machine on the wires of a simulated board: it follows the pulses, and can be read at each standstill.

Angles of the part are in rad, positive the way that positive pulses turn it. The rotor is integrated on its torque
curve; what it has lost, and what lies behind it (ratio, slip, lost motion), follows from where it stops.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from random import Random
from typing import NamedTuple

from firmware_host.model import Machine
from firmware_host.simulator.device import Follower, Stretch
from firmware_host.simulator.true_machine.description import TrueMachine
from firmware_host.simulator.true_machine.field import field_of, shortened
from firmware_host.simulator.true_machine.heat import Warm, Warmth
from firmware_host.simulator.true_machine.integrate import State, filmed, moved, standing, swung
from firmware_host.simulator.true_machine.loose import Loose
from firmware_host.simulator.true_machine.rotor import Rotor, rotor_of
from firmware_host.simulator.true_machine.sliding import sliding_of

PICTURES_PER_S = 480.0
"""Of a camera that films slow motion, as telephones do (common practice, no source)."""
_SWINGS_OUT = 12.0
"""Time constants after which no swing is left that anybody sees."""


class Stop(NamedTuple):
    """How it swung when the last pulse of a motion had come: state, field (rad), how long until it stands (s)."""

    rotor: Rotor
    state: State
    place: float
    lasts: float

    def filmed(self, every: float, pictures: int) -> list[float]:
        """Angles of the part (rad) about its standstill in so many pictures, one `every` s, the first at the pulse."""
        seen = filmed(self.rotor, self.state, self.place, every, pictures)
        rest = float(swung(self.rotor, self.state, self.place, self.lasts).load)
        return [(place - rest) / self.rotor.turns for place in seen]


class TrueAxis(Follower):
    """The axis that was really built. `told` hears of each standstill; `pulses`: what the board has sent, signed."""

    def __init__(self, true: TrueMachine, machine: Machine, rng: Random) -> None:
        self.true, self.machine, self.rotor = true, machine, rotor_of(true, machine)
        self.sliding = sliding_of(true, machine)
        self.told: Callable[[], None] = lambda: None
        self.pulses = 0
        self._rng = rng
        frequency, damping = self.rotor.swing()
        self._dies_out = _SWINGS_OUT / (2 * math.pi * frequency * damping)
        self._state = standing(0.0)
        self._after_stop = self._state
        self._still = True
        self._ended_s = -math.inf
        self._chain = _Chain(true, self.rotor.turns, rng)
        self._drifted = 0.0
        self._warmth = Warmth(true, machine)

    # --- following -------------------------------------------------------------------------------------------------

    def follow(self, stretches: Sequence[Stretch]) -> None:
        for group in _one_way_each(stretches):
            self._move(group)
        self.told()

    def _move(self, group: list[Stretch]) -> None:
        """One motion without a pause, from however it swings by then."""
        self._swing_until(group[0].start_s)
        before, last = self._state, group[-1]
        short, out = shortened(group, self._dies_out, self.rotor.period) if self.rotor.period else (group, 0)
        self._state = self._moved(before, short)
        if out and self._behind(last.base + math.trunc(last.last) - out) > math.pi:
            self._state = self._moved(before, group)
        elif out:
            self._state = self._state.turned(out * self.rotor.pulse)
        if self.sliding is not None:
            self._chain.slid(self.sliding.behind(group, self._part_turns, self._chain.part + self._drifted))
        self.pulses = last.base + math.trunc(last.last)
        self._after_stop, self._still = self._state, False
        self._warmth.moved(group[0].start_s, last.end_s)
        self._ended_s = last.end_s

    @property
    def _part_turns(self) -> float:
        """How far the part turns for a pulse (rad), where nothing slips."""
        return self.rotor.pulse / self.rotor.turns

    def _moved(self, state: State, group: Sequence[Stretch]) -> State:
        field, pulse = field_of(group, self.rotor.step), self.rotor.pulse
        return moved(self.rotor, state, field.places * pulse, field.rates * pulse, field.step)

    def _behind(self, pulses: int) -> float:
        """By how much of its load angle (rad, >= 0) the rotor is off a field that stands at `pulses`."""
        return abs(pulses * self.rotor.pulse - float(self._state.rotor)) * self.rotor.teeth

    def _swing_until(self, now_s: float) -> None:
        """Let it swing after the last motion, as long as it was given."""
        if not self._still:
            self._state = swung(self.rotor, self._state, self._field, min(now_s - self._ended_s, self._dies_out))
            self._chain.turned_to(float(self._state.load))
        self._still = True

    @property
    def _field(self) -> float:
        return self.pulses * self.rotor.pulse

    def _rest(self) -> None:
        self._swing_until(math.inf)

    # --- what a person could read ------------------------------------------------------------------------------------

    @property
    def part_angle(self) -> float:
        """Where the part stands (rad), from where it stood when the board was switched on."""
        self._rest()
        return self._chain.part + self._drifted

    @property
    def roller_angle(self) -> float:
        """Where the drive's shaft stands (rad), of rollers or chuck, as `part_angle`."""
        self._rest()
        return self._chain.roller * self.shaft_turns

    @property
    def shaft_turns(self) -> float:
        """Turns of the drive's shaft for a turn of the part that is there."""
        cradle, diameter = self.machine.drive.cradle, self.true.part.diameter
        return 1.0 if cradle is None or diameter is None else diameter.si / cradle.roller_diameter

    def line_off(self, asked_turns: float) -> float:
        """How far (rad) a line on the part stands beyond where `asked_turns` from the beginning would have it."""
        return self.part_angle - 2 * math.pi * asked_turns

    def height(self, angle: float = 0.0) -> float:
        """How high (m) the surface stands over a round part that runs true, `angle` (rad) around it from the top."""
        part = self.true.part
        at = self.part_angle + angle
        high = part.highest_at.si if part.highest_at is not None else 0.0
        eccentricity = part.eccentricity.si if part.eccentricity is not None else 0.0
        oval = part.out_of_round.si if part.out_of_round is not None else 0.0
        return eccentricity * math.cos(at - high) + oval * math.cos(2 * at)

    @property
    def lost_steps(self) -> int:
        """Full steps that the rotor has fallen behind its pulses for good, a multiple of four; signed as the pulses."""
        self._rest()
        return 4 * round((self._field - float(self._state.rotor)) * self.rotor.teeth / (2 * math.pi))

    def swing_after_stop(self, pictures: int = 480) -> tuple[list[float], list[float]]:
        """(times in s after the last pulse, angles of the part in rad about its rest) as a camera films it."""
        times = [number / PICTURES_PER_S for number in range(pictures)]
        return times, self.stop.filmed(1 / PICTURES_PER_S, pictures)

    @property
    def stop(self) -> Stop:
        """How it came to its last stop."""
        return Stop(self.rotor, self._after_stop, self._field, self._dies_out)

    def pushed(self, angle: float) -> Stop:
        """The part pushed aside by `angle` (rad, far below a step of the motor) while the motor holds, and let go."""
        self._rest()
        load, rotor = angle * self.rotor.turns, self.rotor
        taken = rotor.spring / (rotor.spring + rotor.teeth * rotor.standing_torque)
        state = State(self._field + load * taken, self._field + load, 0.0, 0.0)
        return Stop(rotor, state, self._field, self._dies_out)

    @property
    def loose(self) -> Loose:
        """What turns with the part once the motor pulls no more: all behind the first stage of the gearing."""
        rotor = self.rotor
        return Loose(rotor.load_inertia * rotor.turns**2, rotor.friction * rotor.turns, rotor.imbalance * rotor.turns)

    def temperature(self, now_s: float) -> Warm:
        """Of the motor (degC) at `now_s` s of the device's time, >= that of the last motion; cold the first time."""
        return self._warmth.at(now_s)

    def power_off(self) -> float:
        """The motor lets go: how far the part turns by itself (rad), as its file says, else as its imbalance pulls."""
        self._rest()
        self._warmth.let_go()
        drift = self.true.drift_at_power_off
        stands = self.part_angle
        turned = drift.si if drift is not None else self.loose.comes_to_rest(stands) - stands
        self._drifted += turned
        return turned

    def home_trips(self, count: int) -> list[float]:
        """How far off its mean (rad of the part) the home switch trips, so many times."""
        scatter = self.true.home.scatter
        return [self._rng.gauss(0.0, scatter.si if scatter is not None else 0.0) for _ in range(count)]


class _Chain:
    """What lies behind the motor: slip and lost motion, in rad of the part. `part` stands within its play."""

    def __init__(self, true: TrueMachine, turns: float, rng: Random) -> None:
        self._share, self._where = true.slip.share, true.slip.where
        self._scatter = true.slip.scatter.si if true.slip.scatter is not None else 0.0
        self._half = true.train.lost_motion.si / 2 if true.train.lost_motion is not None else 0.0
        self._turns, self._rng = turns, rng
        self._motor = self._slipped = 0.0
        self.part = self.roller = 0.0

    def slid(self, by: float) -> None:
        """The part has fallen behind by so much (rad, signed) on its way to where it will be turned to."""
        self._slipped += by

    def turned_to(self, motor: float) -> None:
        """The motor's end of the train has come to a standstill at `motor` (rad of the motor)."""
        here = motor / self._turns
        moved = here - self._motor
        self._motor = here
        self._slipped += self._share * moved + self._rng.gauss(0.0, self._scatter)
        pulled = here - self._slipped
        self.roller = pulled if self._where == "belt" else here
        self.part = min(max(self.part, pulled - self._half), pulled + self._half)


def _one_way_each(stretches: Sequence[Stretch]) -> list[list[Stretch]]:
    """Motions without a pause, and in one direction each."""
    groups: list[list[Stretch]] = []
    for stretch in stretches:
        before = groups[-1][-1] if groups else None
        same_way = before is not None and (stretch.last > stretch.first) == (before.last > before.first)
        if before is not None and same_way and stretch.start_s <= before.end_s + 1e-9:
            groups[-1].append(stretch)
        else:
            groups.append([stretch])
    return groups
