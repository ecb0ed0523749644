"""What a person would read at a standstill of a true machine, as well as they can read."""

from __future__ import annotations

import math
from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from firmware_host.simulator.true_machine.axis import TrueAxis

_PUSHED = 0.9
"""So far a hand pushes the part aside, rad on the motor's torque curve: more than half a full step."""


class Reading(NamedTuple):
    """At a standstill after `pulses`: SI, each as read, off by up to what the file's [reading] says.

    `line_off` (rad): how far a line on the part stands beyond its place, `roller_off` that on the driven roller; place:
    what the pulses are by the machine's file. `height` (m) of the surface; `swing`: angles of the part (rad) about its
    standstill in pictures, the first at the last pulse, `swing_every` s apart; `pushed`: the same of the part that a
    hand has pushed aside by `pushed_by` (rad), as it lets go.
    """

    number: int
    pulses: int
    asked_turns: float
    line_off: float
    roller_off: float
    height: float
    swing_every: float
    swing: tuple[float, ...]
    pushed_by: float
    pushed: tuple[float, ...]

    def lines(self) -> Iterator[str]:
        """As a person says it."""
        yield (
            f"standstill {self.number}: the line stands {math.degrees(self.line_off):+.2f} deg from its place, "
            f"the indicator reads {self.height * 1e3:+.3f} mm"
        )


class Reader:
    """Reads a true axis; `rng` says by how much each reading is off. `pictures`: of the film of each stop."""

    def __init__(self, axis: TrueAxis, per_turn: float, rng: Random, *, pictures: int = 192) -> None:
        self._axis, self._per_turn, self._rng, self._pictures = axis, per_turn, rng, pictures
        self._number = 0

    def read(self) -> Reading:
        """What is read now; the axis stands."""
        axis, limits = self._axis, self._axis.true.reading
        within = limits.angle.si if limits.angle is not None else 0.0
        within_length = limits.length.si if limits.length is not None else 0.0
        self._number += 1
        turns = axis.pulses / self._per_turn
        times, swing = axis.swing_after_stop(self._pictures)
        aside = _PUSHED / (axis.rotor.teeth * axis.rotor.turns)
        shaft = 2 * math.pi * axis.pulses / float(axis.machine.microsteps_per_shaft_turn)
        return Reading(
            number=self._number,
            pulses=axis.pulses,
            asked_turns=turns,
            line_off=axis.line_off(turns) + self._off(within),
            roller_off=axis.roller_angle - shaft + self._off(within),
            height=axis.height() + self._off(within_length),
            swing_every=times[1] - times[0],
            swing=tuple(swing),
            pushed_by=aside,
            pushed=tuple(axis.pushed(aside).filmed(times[1] - times[0], self._pictures)),
        )

    def _off(self, within: float) -> float:
        return self._rng.uniform(-within, within)


def pulses_per_turn(axis: TrueAxis) -> float:
    """Pulses for a turn of the part by the machine's file, of the part that is there."""
    return float(axis.machine.microsteps_per_shaft_turn) * axis.shaft_turns
