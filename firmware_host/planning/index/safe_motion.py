"""The speed and acceleration of an index that are quickest, settling included, and still safe.

A stepper's torque falls with speed, so the largest acceleration goes with a low speed; and a ramp that ends out of time
with the natural swing has to be waited for. The quickest pair lies between. Both are the part's, rad/s and rad/s^2.
"""

from __future__ import annotations

import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass

from firmware_host.planning.guess import Guess
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.search import IndexSearch, Pair
from firmware_host.planning.index.swings import MoveSwings
from firmware_host.planning.index.timing import IndexTiming
from firmware_host.planning.limits.check import NARROW_MARGIN
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.load.case import LoadCase

_AT_THE_LIMIT = 2e-3


@dataclass(frozen=True, slots=True)
class SafeMotion:
    """`acceleration` rad/s^2 and `speed` rad/s of the part, and the names of what stops them going further.

    `ringing` among them: a quicker move would take longer to settle. `timing`: what the indexes then take.
    """

    acceleration: float
    speed: float
    binding: tuple[str, ...]
    timing: IndexTiming


def motion_for(
    load: LoadCase,
    moves: IndexMoves,
    *,
    speed: float | None = None,
    acceleration: float | None = None,
    reserve: float = NARROW_MARGIN,
    limits: Sequence[Limit] | None = None,
    others: Sequence[LoadCase] = (),
    swings: MoveSwings | None = None,
    guess: Guess | None = None,
) -> SafeMotion:
    """The pair that makes the moves quickest, settling included, while every limit keeps `reserve` of itself.

    0 <= `reserve` < 1. A `speed` (rad/s) or `acceleration` (rad/s^2) given is kept and the other is found; with both
    given there is nothing to choose. `limits`: by default all of `limits/registry.py`; each says what it bounds: the
    speed, the ramps as commanded, or the part as it swings in the worst phase of the ringing. Speeds that a limit wants
    avoided are avoided where they can be. Quickest means the least mean time of the indexes that the part really
    makes (see `IndexMoves.weights`), with the longest settling that any move needs that a gate opens after; the others
    only have to keep the limits. Natural frequency and damping are the worst that the load's may be, one of each at a
    time.

    `others`: further loads that the motion has to be safe for, whichever is the true one. `swings`: what the moves do
    to `load`, as remembered; its `check` is called at least each 50 ms and may raise. `guess`: near what the quickest
    lies, where both are free; it is the quickest near that which is then found, if it can be proved to be safe.

    `LimitExceededError` if no motion is safe.
    """
    swings = swings if swings is not None else MoveSwings(load, moves)
    if speed is not None and acceleration is not None:
        timing = swings.timing(acceleration, speed)
        return SafeMotion(acceleration, speed, ("as-stated",), timing)
    near = guess if speed is None and acceleration is None else None
    search = IndexSearch([load], moves, reserve, limits, swings)
    found = _found(search, acceleration, speed, near)
    if any(_exceeds(other, moves, reserve, limits, found, swings) for other in others):
        search = IndexSearch([load, *others], moves, reserve, limits, swings)
        found = _found(search, acceleration, speed, near)
    stated = speed is not None, acceleration is not None
    reached, binding = binding_of(found, search.shares(found), search.acceleration_limits, moves, *stated)
    return SafeMotion(found.acceleration, reached, binding, swings.timing(found.acceleration, reached))


def binding_of(
    found: Pair,
    shares: Mapping[str, float],
    acceleration_limits: Container[str],
    moves: IndexMoves,
    speed_stated: bool = False,
    acceleration_stated: bool = False,
) -> tuple[float, tuple[str, ...]]:
    """The speed (rad/s) of a motion found, no more than is reached, and what stops it from going further.

    `shares`: how much of each limit it uses up; `acceleration_limits`: names of those that bound the acceleration.
    """
    speed, binding = found.speed, [name for name, share in shares.items() if share >= 1 - _AT_THE_LIMIT]
    reach = math.sqrt(found.acceleration * moves.longest_of_all)
    if not speed_stated and reach <= speed * (1 + 1e-3):
        binding.append("index-length")
        speed = min(speed, reach * (1 + 1e-9))
    if not acceleration_stated and not any(name in acceleration_limits for name in binding):
        binding.append("ringing")
    return speed, tuple(binding)


def _found(search: IndexSearch, acceleration: float | None, speed: float | None, guess: Guess | None) -> Pair:
    near = search.near(guess) if guess is not None else None
    return near if near is not None else search.best(acceleration, speed)


def _exceeds(
    load: LoadCase,
    moves: IndexMoves,
    reserve: float,
    limits: Sequence[Limit] | None,
    found: Pair,
    swings: MoveSwings,
) -> bool:
    """Whether a motion found for another load takes more of this one's limits than it may; they swing alike."""
    shares = IndexSearch([load], moves, reserve, limits, swings).shares(found)
    return max(shares.values()) > 1 + _AT_THE_LIMIT / 2
