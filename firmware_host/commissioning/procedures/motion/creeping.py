"""From which acceleration a part creeps on its rollers: quick moves one way, a calm way back, and where a line stands.

A move that asks for more than the grip makes the part fall behind while it speeds up; while it brakes rolling friction
helps, and it falls behind less than it runs ahead. On the calm way back it creeps as steadily as on the way out, the
other way: so a line that is short of its mark tells what was lost in the quick ramps alone. Both ways are tried, for
the driven row presses more one way than the other, and from places all around: gravity on an imbalance helps at one.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterable
from dataclasses import dataclass
from fractions import Fraction

from firmware_host.commissioning.estimates.bracket import Bracket, Trial
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.procedures.base import APPROACH, Bench, degrees, read, require_plan, require_setup
from firmware_host.commissioning.procedures.motion.search import (
    LEAST,
    LOST_AT_ONCE,
    MOST_TRIALS,
    Paces,
    calm_pace,
    next_share,
)
from firmware_host.commissioning.script import Answer, Ask, Say, Step, TurnTo
from firmware_host.planning.by_hand import CALM, HandPlan, Pace

WAY, MOVES = Fraction(2, 7), 7
"""Of a quick move, and so many one way: two turns, begun at seven places evenly around the part."""
AGAIN = 2
"""So often the highest acceleration that makes it creep no more has to be tried."""
TRIAL_S = 80.0
"""What a trial takes a person, both ways (no source)."""


@dataclass(frozen=True)
class Creeping:
    """`paces` up to the quickest that limits allow, their reserve kept; `calm` for the ways back.

    `seen` (rad of the part): what is more than two readings and the doubt about the steady creep can be off. `begins`:
    the place (turns) where the line is. `lost`: half of four full steps (rad of the driven roller).
    """

    paces: Paces
    calm: Pace
    seen: float
    begins: Fraction
    lost: float

    def pace(self, share: float) -> Pace:
        """At a share of the quickest acceleration, as quick as it gets on its way: so the ramps are long."""
        quickest = self.paces.quickest
        wanted = Pace(share * quickest.acceleration, quickest.speed)
        return wanted if self.paces.allows(wanted) else self.paces.at(share)

    def reached(self, acceleration: float) -> float:
        """The speed (part rad/s) at the end of a quick ramp."""
        way = 2 * math.pi * self.paces.microsteps / float(self.paces.plan.per_turn)
        return min(self.paces.quickest.speed, math.sqrt(acceleration * way))

    def unseen(self, acceleration: float) -> float:
        """By what part the grip may be exceeded in a quick ramp (part rad/s^2) without being seen.

        A part that gets the acceleration A in place of a falls behind by v^2/2 (1/A - 1/a) until it has the speed v.
        """
        return 2 * acceleration * self.seen / self.reached(acceleration) ** 2


def creeping(bench: Bench, begins: Fraction, steady: Measured) -> Creeping:
    """`steady`: the creep, part of the travel. Raises `InputError` where no job says what lies on the rollers."""
    require_setup(bench)
    plan = require_plan(bench)
    there = float(2 * MOVES * WAY * 2) * math.pi
    return Creeping(
        paces=Paces(plan, round(WAY * plan.per_turn), plan.quickest(WAY)),
        calm=calm(plan, (MOVES * WAY + APPROACH, MOVES * WAY, APPROACH)),
        seen=2 * bench.read_to + steady.within * there,
        begins=begins,
        lost=math.pi * LOST_AT_ONCE * bench.machine.driver.microsteps / float(bench.machine.microsteps_per_shaft_turn),
    )


def calm(plan: HandPlan, ways: Iterable[Fraction]) -> Pace:
    """So gentle a pace for moves of so many turns that the part creeps steadily, if it can be turned at all."""
    steps = [round(each * plan.per_turn) for each in ways]
    speed = min(CALM, *(plan.speed(each) for each in steps))
    return calm_pace(plan, steps, LEAST * plan.quickest(WAY).acceleration, speed)


@dataclass(frozen=True)
class Crept:
    """All trials, by the part's acceleration (rad/s^2); `steps_lost`: at which one the driven roller itself was off."""

    trials: tuple[Trial, ...]
    steps_lost: float | None = None

    @property
    def bracket(self) -> Bracket:
        return Bracket.of(self.trials)


def try_out(here: Creeping) -> Generator[Step, Answer | None, Crept]:
    """Try accelerations until the highest at which it creeps no more than steadily is known."""
    yield from _to_mark(here, Fraction(-1))
    yield Ask(
        "scribed",
        "Now the quick moves. Is the line scribed where it stands now, and that on the driven roller?",
        "choice",
        ("done",),
    )
    trials: list[Trial] = []
    stood = {"part": 0.0}
    while len(trials) < MOST_TRIALS:
        of = Bracket.of(Trial(each.value / here.paces.quickest.acceleration, each.failed) for each in trials)
        share = next_share(of, AGAIN)
        if share is None:
            break
        pace, number = here.pace(share), len(trials) + 1
        crept = False
        for side in (1, -1):
            off = yield from _one_way(here, number, side, pace)
            before, stood["part"] = stood["part"], off
            if abs(off - before) <= here.seen:
                continue
            crept = True
            yield Say(f"It crept by {degrees(abs(off - before))}.")
            roller = yield from read(
                f"roller-{number}-{_SIDES[side]}", "And the line on the driven roller, beyond its own?", "angle"
            )
            if abs(roller) > here.lost:
                return Crept(tuple(trials), pace.acceleration)
            break
        trials.append(Trial(pace.acceleration, crept))
    return Crept(tuple(trials))


_SIDES = {1: "there", -1: "back"}


def _one_way(here: Creeping, number: int, side: int, pace: Pace) -> Generator[Step, Answer | None, float]:
    """The quick moves to one side, and calmly back to the mark; where the line stands (rad of the part)."""
    way = "one way" if side > 0 else "the other way"
    told = f"trial {number}, {way}: {degrees(pace.acceleration)}/s^2 up to {degrees(here.reached(pace.acceleration))}/s"
    for move in range(1, MOVES + 1):
        place = here.begins + side * move * WAY
        yield TurnTo(place, told if move == 1 else "", straight=True, pace=pace)
    yield from _to_mark(here, side * MOVES * WAY)
    question = f"Trial {number}, {way}: how far beyond its mark does the line stand (0 at it, - short of it)?"
    return (yield from read(f"crept-{number}-{_SIDES[side]}", question, "part-angle"))


def _to_mark(here: Creeping, side: Fraction) -> Generator[Step, Answer | None, None]:
    """Back to the mark calmly, from below wherever it comes from."""
    if side > 0:
        yield TurnTo(here.begins - APPROACH, "back calmly, past the mark", straight=True, pace=here.calm)
    yield TurnTo(here.begins, "back to the mark, calmly", straight=True, pace=here.calm)
