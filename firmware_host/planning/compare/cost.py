"""What a limit costs: how long an index would take if that limit alone were lifted tenfold."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.errors import LimitExceededError
from firmware_host.model.job.job import IndexRequest
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.safe_motion import SafeMotion, motion_for
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase


@dataclass(frozen=True, slots=True)
class LimitCost:
    """A limit that stops the index from going faster, and what an average one would take without it, `index_s` s.

    The next limit then takes its place, so it isn't zero. For `ringing` it is the chosen move without its settling.
    """

    name: str
    index_s: float


def limit_costs(load: LoadCase, moves: IndexMoves, motion: SafeMotion, request: IndexRequest) -> tuple[LimitCost, ...]:
    """What each binding limit of a `motion` costs, in the order of `motion.binding`; a limit and its peak count as one.

    A speed or an acceleration that the job states stays; `as-stated`, where both are, is what those two cost. The
    length of the index is no limit that could be lifted.
    """
    speed = request.speed.si if request.speed is not None else None
    acceleration = request.acceleration.si if request.acceleration is not None else None
    limits, costs = {limit.name: limit for limit in all_limits()}, dict[str, float | None]()
    for binding in motion.binding:
        if binding == "ringing":
            costs.setdefault(binding, motion.timing.move_s)
        elif binding == "as-stated":
            costs.setdefault(binding, _index_s(load, moves, None, None))
        elif binding in limits and _shown(limits[binding]) not in costs:
            costs[_shown(limits[binding])] = _without(limits[binding], load, moves, speed, acceleration)
    return tuple(LimitCost(name, index_s) for name, index_s in costs.items() if index_s is not None)


def _shown(limit: Limit) -> str:
    return limit.costs_as or limit.name


def _without(
    limit: Limit, load: LoadCase, moves: IndexMoves, speed: float | None, acceleration: float | None
) -> float | None:
    """With the datum behind the limit raised, or with the limit and those that count as one with it left out."""
    lifted = limit.lifted(load)
    if lifted is not None:
        return _index_s(lifted, moves, speed, acceleration)
    others = tuple(other for other in all_limits() if _shown(other) != _shown(limit))
    return _index_s(load, moves, speed, acceleration, others)


def _index_s(
    load: LoadCase,
    moves: IndexMoves,
    speed: float | None,
    acceleration: float | None,
    limits: tuple[Limit, ...] | None = None,
) -> float | None:
    """Seconds of an average index with its settling; None where no motion is safe."""
    try:
        return motion_for(load, moves, speed=speed, acceleration=acceleration, limits=limits).timing.index_s
    except LimitExceededError:
        return None
