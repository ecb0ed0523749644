"""Some quick moves and a calm way back, over and over: which pace comes next, and what a line that is off means.

A move of a quarter turn alone would not do: where speeding up and slowing down follow one another closely, the swing
that the one leaves adds to that of the other, and a shorter move loses steps at a pace that a long one is made at.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass, replace
from fractions import Fraction

from firmware_host.commissioning.estimates.bracket import Bracket, Trial
from firmware_host.commissioning.procedures.base import APPROACH, Bench, degrees, read, require_plan, require_setup
from firmware_host.commissioning.procedures.motion.search import (
    LOST_AT_ONCE,
    MOST_TRIALS,
    Paces,
    allowed,
    calm_pace,
    next_share,
)
from firmware_host.commissioning.procedures.motion.swinging import swinging
from firmware_host.commissioning.script import Answer, Ask, Say, Step, TurnTo
from firmware_host.errors import InputError
from firmware_host.planning.by_hand import HandPlan, Pace

WAY = Fraction(1, 4)
"""How far the longest of the quick moves turns the part."""
SHORTER = 8
"""So many shorter ones follow it in a trial, to and fro."""
_SOONEST, _LATEST, _AT_SPEED = 0.35, 6.0, 3.0
"""They begin to slow down so soon after their beginning, over the time of a swing as computed.

Half a swing is the worst; a motor with a tenth of its torque swings three times as slowly, and wide swings are slower.
The last swing begins where it has come to its speed: the latest is at least so long after that.
"""
_ELSEWHERE = 0.618
"""So far the lengths of a trial lie beside those of the one before, over what lies between two (the golden section)."""
_TRIAL_S = 30.0
"""What a trial takes a person, usually (no source)."""
_CALM, _CREEPING = 0.5, 0.01
"""How far a calm and a creeping move swing the rotor at their ends, rad on its torque curve (a full step is pi/2)."""
_ODD, _RATIO_OFF = 1 / 3, 0.05
"""A loss is odd that is so far (of four full steps) off a multiple, and by so much of it: a ratio may be so wrong.

Two readings are off by less than the first; so it is a loss or none, too.
"""


@dataclass(frozen=True)
class Trying:
    """`paces` of the longest quick move; `calm` for the ways back, `creeping` for the last of them.

    `slip`: four full steps (rad of the part). `swing_s`: the time of a swing, as computed.
    """

    paces: Paces
    calm: Pace
    creeping: Pace
    slip: float
    swing_s: float

    @property
    def plan(self) -> HandPlan:
        """By which the hand turns the part."""
        return self.paces.plan

    @property
    def quickest(self) -> Pace:
        """That limits allow, their reserve kept."""
        return self.paces.quickest

    @property
    def last(self) -> Fraction:
        """What is crept of the way to the mark (turns): as much as a slip."""
        return Fraction(round(self.slip / (2 * math.pi) * self.plan.per_turn)) / self.plan.per_turn

    def shorter(self, pace: Pace, number: int) -> list[Fraction]:
        """The shorter quick moves of a trial (turns), the longest first: in each the two swings add up otherwise.

        One that begins to slow down t after its beginning is a t^2 long, or v t where it comes to its speed before.
        Those are left out that the limits do not allow at that pace: no plan makes them.
        """
        microstep, found = 2 * math.pi / float(self.plan.per_turn), set[int]()
        latest = max(_LATEST, _AT_SPEED + pace.speed / pace.acceleration / self.swing_s)
        for place in range(SHORTER):
            share = (place + number * _ELSEWHERE % 1) / SHORTER
            after = self.swing_s * _SOONEST * (latest / _SOONEST) ** share
            steps = max(1, round(min(pace.acceleration * after, pace.speed) * after / microstep))
            found |= {steps} if steps < self.paces.microsteps else set()
        if not allowed(self.plan, found, pace):
            found = {each for each in found if allowed(self.plan, {each}, pace)}
        return [each / self.plan.per_turn for each in sorted(found, reverse=True)]

    def pace(self, share: float) -> Pace:
        """At a share of the quickest, or a little gentler where a limit stops just that."""
        return self.paces.at(share)


def trying(bench: Bench) -> Trying:
    """Raises `InputError` where no job says what turns along, or four full steps can't be seen."""
    require_setup(bench)
    plan = require_plan(bench)
    slip = 2 * math.pi * LOST_AT_ONCE * bench.machine.driver.microsteps / float(bench.per_turn)
    if bench.read_to > slip * _ODD / 2:
        read_to = degrees(bench.read_to)
        problem = f"four full steps turn the part by {degrees(slip)}, and that is not seen when read to {read_to}"
        raise InputError(problem, "Read closer, at the end of a long pointer: --angle-to, --read-to", key="--angle-to")
    calm, creeping = (_calm(bench, plan, swing) for swing in (_CALM, _CREEPING))
    paces = Paces(plan, round(WAY * plan.per_turn), plan.quickest(WAY))
    paces = replace(paces, quickest=paces.at(1.0))
    return Trying(paces, calm, creeping, slip, 2 * math.pi / swinging(bench).natural)


def _calm(bench: Bench, plan: HandPlan, swing: float) -> Pace:
    """So slow that a stop at once swings the rotor by `swing` (rad on its torque curve): no ramp can lose a step then.

    A step of speed v swings the rotor by v/w, p v/w on the curve; with a tenth of the torque w is a third as much.
    """
    turns = float(bench.per_turn) / (bench.machine.driver.microsteps * bench.machine.motor.full_steps)
    slow = swing * swinging(bench).natural / (bench.machine.motor.full_steps / 4) / turns
    steps = [round(each * plan.per_turn) for each in (WAY, WAY + APPROACH, APPROACH)]
    speed = min(slow, *(plan.speed(each) for each in steps))
    return calm_pace(plan, steps, plan.acceleration, speed)


def minutes(trials: int) -> float:
    """How long they take a person."""
    return trials * _TRIAL_S / 60


@dataclass(frozen=True)
class Tried:
    """All trials, as shares of the quickest; `odd`: some loss that was no multiple of four full steps."""

    trials: tuple[Trial, ...]
    odd: bool

    @property
    def bracket(self) -> Bracket:
        return Bracket.of(self.trials)


def try_out(here: Trying, repeats: int) -> Generator[Step, Answer | None, Tried]:
    """Try paces until the highest that loses none has worked `repeats` times; one way and the other in turn."""
    yield from _creep_to_mark(here, -1)
    fours = f"Lost steps come in fours: {degrees(here.slip)} of the part each."
    question = f"{fours} Is the line scribed where it stands now?"
    yield Ask("scribed", question, "choice", ("done",))
    trials: list[Trial] = []
    off, odd = 0.0, False
    while len(trials) < MOST_TRIALS:
        share = next_share(Bracket.of(trials), repeats)
        if share is None:
            break
        number = len(trials) + 1
        pace = here.pace(share)
        before, off = off, (yield from _trial(here, number, pace))
        poles = round((off - before) / here.slip)
        if poles:
            odd = odd or abs((off - before) / here.slip - poles) > _ODD + _RATIO_OFF * abs(poles)
            yield Say(f"It lost {abs(poles) * LOST_AT_ONCE} full steps.")
        trials.append(Trial(pace.acceleration / here.quickest.acceleration, failed=poles != 0))
    return Tried(tuple(trials), odd)


def _trial(here: Trying, number: int, pace: Pace) -> Generator[Step, Answer | None, float]:
    """The quick moves, then back to the mark from below; where the line stands (rad of the part).

    The first one turns back from where the mark was crept to: friction has left the rotor ahead of it then, as far as
    it can, so that it has the farthest to catch up. That is the unkindest start there is.
    """
    side = 1 if number % 2 == 1 else -1
    told = f"{degrees(pace.acceleration)}/s^2 up to {degrees(pace.speed)}/s"
    yield from _creep_to_mark(here, side)
    place = side * WAY
    yield TurnTo(place, f"trial {number}, quickly: {told}; then shorter moves to and fro", straight=True, pace=pace)
    for turns in here.shorter(pace, number):
        side = -side
        place += side * turns
        yield TurnTo(place, "", straight=True, pace=pace)
    yield from _creep_to_mark(here, -1)
    question = f"Trial {number}: how far beyond its mark does the line stand (0 where it came back, - short of it)?"
    return (yield from read(f"line-{number}", question, "part-angle"))


def _creep_to_mark(here: Trying, side: int) -> Generator[Step, Answer | None, None]:
    """Come to the mark from above (1) or below (-1): calmly, and the last full steps so slowly that nothing swings."""
    words = "above" if side > 0 else "below"
    yield TurnTo(side * APPROACH, "back calmly, past the mark", straight=True, pace=here.calm)
    yield TurnTo(side * here.last, f"near to the mark, from {words}", straight=True, pace=here.calm)
    yield TurnTo(Fraction(0), "to the mark, creeping", straight=True, pace=here.creeping)
