"""What the moves of a job reach at a motion."""

from __future__ import annotations

from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.safe_motion import SafeMotion
from firmware_host.planning.index.swings import MoveSwings
from firmware_host.planning.limits.case import IndexExtremes
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.route.velocity import plan_index


def index_extremes(
    load: LoadCase, moves: IndexMoves, motion: SafeMotion, swings: MoveSwings | None = None
) -> IndexExtremes:
    """What `moves` reach at `motion`; `swings`: what they do to `load`, where some of that is known already."""
    swings = swings if swings is not None else MoveSwings(load, moves)
    longest = plan_index(moves.longest_of_all, motion.acceleration, motion.speed)
    pushing, holding = swings.peaks(motion.acceleration, motion.speed)
    return IndexExtremes(
        acceleration=motion.acceleration,
        peak_speed=float(longest.peak_speed),
        cruises=bool(longest.is_trapezoid),
        longest=moves.longest_of_all,
        duration=float(longest.duration),
        peak_pushing=pushing,
        peak_holding=holding,
    )
