"""How quick moves are tried: from half of the quickest that limits allow, in shares of it, each move within them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from firmware_host.commissioning.estimates.bracket import Bracket, halfway
from firmware_host.errors import LimitExceededError
from firmware_host.planning.by_hand import HandPlan, Pace

_FIRST = 0.5
LEAST = 1 / 20
"""Shares of the quickest: where trying begins, and where it is given up."""
_CLOSE = 1.1
"""So near to one another the last that worked and the first that failed come."""
MOST_TRIALS = 60
LOST_AT_ONCE = 4
"""A rotor that loses its place is caught by the next pole that fits: so many full steps on, or a multiple."""
_GENTLER, _STEPS_DOWN = 0.97, 12


@dataclass(frozen=True)
class Paces:
    """Paces of a move of so many `microsteps`, up to the `quickest` that limits allow with their reserve."""

    plan: HandPlan
    microsteps: int
    quickest: Pace

    def allows(self, pace: Pace) -> bool:
        """Whether limits allow the move at that pace."""
        return allowed(self.plan, {self.microsteps}, pace)

    def at(self, share: float) -> Pace:
        """At a share of the quickest, or a little gentler where a limit stops just that."""
        wanted = Pace(share * self.quickest.acceleration, share * self.quickest.speed)
        for _ in range(_STEPS_DOWN):
            if self.allows(wanted):
                return wanted
            wanted = Pace(_GENTLER * wanted.acceleration, _GENTLER * wanted.speed)
        return Pace(self.plan.acceleration, self.plan.speed(self.microsteps))


def allowed(plan: HandPlan, microsteps: Iterable[int], pace: Pace) -> bool:
    """Whether limits allow moves of so many microsteps at that pace."""
    try:
        plan.require_paces(microsteps, pace)
    except LimitExceededError:
        return False
    return True


def calm_pace(plan: HandPlan, microsteps: list[int], acceleration: float, speed: float) -> Pace:
    """A slow pace that limits allow for moves of so many microsteps: as wished (part rad/s^2 and rad/s), or near it."""
    paces = (Pace(acceleration, speed * each) for each in (1.0, 0.8, 1.25, 0.6))
    return next(
        (pace for pace in paces if allowed(plan, microsteps, pace)),
        Pace(plan.acceleration, min(plan.speed(each) for each in microsteps)),
    )


def next_share(bracket: Bracket, repeats: int) -> float | None:
    """Which share of the quickest is tried next; None where all is known: `repeats` worked at the highest that does."""
    works, fails = bracket.works, bracket.fails
    if works == 0:
        share = _FIRST if fails == math.inf else fails / 2
        return share if share >= LEAST else None
    if fails == math.inf and works < 1:
        return 1.0
    if fails < math.inf and bracket.ratio > _CLOSE:
        return halfway(works, fails)
    return works if bracket.passes < repeats else None


def usual_trials(repeats: int) -> int:
    """So many trials it usually takes: to bracket it, and the repeats."""
    halvings = math.ceil(math.log2(math.log(1 / _FIRST) / math.log(_CLOSE)))
    return 1 + halvings + repeats
