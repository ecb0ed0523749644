"""The stored ramp of hidden machines beside what they really follow: where a step is first lost, and 1,000 repeats.

The rotors are integrated by themselves (`repeats.lost_steps`), from wherever friction may have left them, not by the
hand that the procedure turned; the lengths of their moves go by the true swing, which the procedure does not know.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.motion.trials import WAY, trying
from firmware_host.errors import LimitExceededError
from firmware_host.model import Setup
from firmware_host.model.base import stated
from firmware_host.planning.by_hand import HandPlan, Pace, hand_on_job
from firmware_host.planning.route.moves import Purpose
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.simulator.true_machine.field import ramp
from firmware_host.simulator.true_machine.repeats import lost_steps
from firmware_host.station.hand.hand import Hand
from tests.commissioning.hidden.drawn import Drawn
from tests.commissioning.hidden.hands import QuickHand, bench_of, carried_out
from tests.commissioning.hidden.machines import microsteps_of
from tests.commissioning.hidden.person import READ_ANGLE

REPEATS = 1000
_STARTS = (-1.0, 0.0, 1.0)
_LENGTHS = 24
_SOONEST, _LATEST = 0.25, 3.0
"""Moves begin to slow down so soon after their beginning, over the true time of a swing; and the quarter turn."""
_AT_SPEED, _BEYOND = 17, 2.0
"""And so many that begin to slow down up to so many swings after they have come to their speed."""
_FROM, _TO, _FINER, _HALVINGS = 0.8, 1.1, 1.05, 3
"""From this share of the stored pair to that of what was found it is looked for the first loss, in such steps; the gap
with the first one is halved so often.
"""
_ROWS = 40
"""Moves, some alike, of which each is repeated so often that they come to 1,000."""


class Stored(NamedTuple):
    """What `ramp` found of one machine, in shares of the quickest that limits allow.

    `lowest` to `highest`: its interval; `true`: the lowest share at which any move from any start loses a step,
    infinite where limits allow no such pace; `stored`: what plans then keep to. `by_machine`: whether the motor binds,
    not a limit. `lost`: how many of the repeats lost a step.
    """

    seed: int
    by_machine: bool
    value: float
    lowest: float
    highest: float
    true: float
    stored: float
    lost: int

    @property
    def share(self) -> float:
        """What is stored, of what the machine can do."""
        return self.stored / self.true


class Followed:
    """What a true axis follows of moves by `plan`; paces as shares of `quickest`."""

    def __init__(self, plan: HandPlan, axis: TrueAxis, quickest: Pace) -> None:
        self._rotor, self.plan, self._quickest = axis.rotor, plan, quickest
        self._per_turn = float(plan.per_turn)
        self._swing_s = 1 / axis.rotor.swing()[0]

    def pace(self, share: float) -> Pace:
        return Pace(share * self._quickest.acceleration, share * self._quickest.speed)

    def lost(self, moves: Sequence[tuple[int, Pace]], starts: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether steps are lost in moves of so many microsteps; `starts` of shape (moves, repeats)."""
        made = []
        for microsteps, pace in moves:
            rates = [microsteps_of(each, self._per_turn) for each in (pace.acceleration, pace.speed)]
            made.append(ramp(microsteps, *rates))
        return np.asarray(lost_steps([self._rotor] * len(made), made, starts) != 0)

    def lengths(self, pace: Pace, count: int = _LENGTHS) -> list[int]:
        """Of moves in which the swings of speeding up, of coming to the speed and of slowing down add up in all ways.

        In microsteps.
        """
        found = []
        at_speed = pace.speed / pace.acceleration
        soon = self._swing_s * np.geomspace(_SOONEST, _LATEST, count)
        for after in (*soon, *(at_speed + self._swing_s * np.linspace(0, _BEYOND, _AT_SPEED))):
            turned = min(pace.acceleration * after, pace.speed) * after
            found.append(min(max(1, round(microsteps_of(turned, self._per_turn))), self.quarter))
        return sorted(set(found))

    @property
    def quarter(self) -> int:
        return round(WAY * self.plan.per_turn)

    def allowed(self, microsteps: int, pace: Pace) -> bool:
        return self.all_allowed([microsteps], pace)

    def all_allowed(self, lengths: Sequence[int], pace: Pace) -> bool:
        try:
            self.plan.require_paces(lengths, pace)
        except LimitExceededError:
            return False
        return True

    def lowest_lost(self, shares: Sequence[float]) -> float:
        """The lowest of the shares at which any move that limits allow loses a step from any start; else infinite."""
        paces = [self.pace(each) for each in shares]
        moves = [(each, pace) for pace in paces for each in (*self.lengths(pace), self.quarter)]
        lost = self.lost(moves, np.tile(np.array(_STARTS), (len(moves), 1))).any(axis=1)
        first = next(
            (pace for (each, pace), one in zip(moves, lost, strict=True) if one and self.allowed(each, pace)), None
        )
        return math.inf if first is None else first.acceleration / self._quickest.acceleration

    def limit(self, first: float, last: float) -> float:
        """The lowest share, from `first` to `last`, at which steps are lost; infinite if there is none."""
        count = math.ceil(math.log(last / first) / math.log(_FINER))
        above = self.lowest_lost([min(first * _FINER**k, last) for k in range(count + 1)])
        below = above / _FINER
        for _ in range(_HALVINGS if above < math.inf else 0):
            middle = math.sqrt(below * above)
            below, above = (below, middle) if self.lowest_lost([middle]) < math.inf else (middle, above)
        return math.sqrt(below * above) if above < math.inf else above


def stored_ramp(drawn: Drawn, seed: int, folder: Path) -> Stored | Finding:
    """What `ramp` stores of the machine with the weak motor; the finding itself where there is nothing to store."""
    rng = random.Random(-seed - 1)
    hand = QuickHand(drawn.plan, drawn.weak.axis(drawn.setup, rng))
    read_to = min(READ_ANGLE, slip_of(drawn) / 7)  # as `ramp` asks, and a little closer
    quickest = trying(bench_of(cast("Hand", hand), "ramp", within_angle=read_to)).quickest
    found, *_ = carried_out(folder, "ramp", hand, rng, seed, read_to)[0]
    by_machine = found.change is not None
    if not by_machine and found.verdict != "as stated":
        return found
    setup = _written(drawn.setup, found)
    share = 1.0 if not by_machine else _shaft(setup, drawn.plan) / quickest.acceleration
    followed = Followed(drawn.plan, hand.axis, quickest)
    whole = math.degrees(quickest.acceleration)
    return Stored(
        seed,
        by_machine,
        *(each / whole for each in (found.measured.value, found.measured.lowest, found.measured.highest)),
        true=followed.limit(_FROM * share, _TO * found.measured.highest / whole) if by_machine else math.inf,
        stored=share,
        lost=_lost_again(followed, followed.pace(share), setup, np.random.default_rng(seed)),
    )


def slip_of(drawn: Drawn) -> float:
    """Four full steps, in rad of the part."""
    return 2 * math.pi * 4 * drawn.setup.machine.driver.microsteps / float(drawn.plan.per_turn)


def _written(setup: Setup, found: Finding) -> Setup:
    if found.change is None:
        return setup
    return setup.with_values({each.key: each.value for each in (found.change, *found.also)})


def _shaft(setup: Setup, plan: HandPlan) -> float:
    """The stored acceleration of the drive's shaft, in rad/s^2 of the part."""
    onwards = float(plan.per_turn / setup.machine.microsteps_per_shaft_turn)
    return stated(setup.machine.ramp.acceleration, "ramp.acceleration").si / onwards


def _lost_again(followed: Followed, pace: Pace, setup: Setup, rng: np.random.Generator) -> int:
    """How many of 1,000 repeats lose a step: a third quarter turns, a third shorter, a third the job's own indexes.

    The last as they are planned with what is stored.
    """
    short = followed.lengths(pace, _ROWS)
    if not followed.all_allowed(short, pace):
        short = [each for each in short if followed.allowed(each, pace)]
    plan = hand_on_job(setup)
    route, planned = plan.plan.route, Pace(plan.acceleration, plan.most_speed)
    indexes = sorted({abs(int(delta)) for delta in route.deltas[route.purpose == Purpose.INDEX]} - {0})
    kinds = [[(followed.quarter, pace)], [(each, pace) for each in short], [(each, planned) for each in indexes]]
    rows = [list(itertools.islice(itertools.cycle(kind), _ROWS // 3 + 1)) for kind in kinds if kind]
    moves = [move for row in rows for move in row]
    repeats = math.ceil(REPEATS / len(moves))
    return int(followed.lost(moves, rng.uniform(-1, 1, (len(moves), repeats))).sum())
