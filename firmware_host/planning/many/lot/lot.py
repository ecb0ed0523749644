"""Parts of one lot planned near where their motions are likely to lie, all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from firmware_host.model.files.loading import Setup
from firmware_host.planning.guess import Guess
from firmware_host.planning.index.moves import IndexMoves, index_moves
from firmware_host.planning.index.safe_motion import SafeMotion
from firmware_host.planning.index.together.motions import NearMotion, motions_near
from firmware_host.planning.interrupt import Check
from firmware_host.planning.limits.accept import acceptable
from firmware_host.planning.limits.case import IndexExtremes, LimitCase
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.many.lot.checks import LotChecks
from firmware_host.planning.many.lot.stack import stacked
from firmware_host.planning.many.part import PartLayout, PartMotion, laid_out
from firmware_host.planning.plan import Layout, Places, layout_at, places_of
from firmware_host.planning.route.velocity import plan_index


@dataclass(frozen=True, eq=False)
class LotPart:
    """A part before anything is known of its motion: its description, where the segments are, and its moves."""

    setup: Setup
    places: Places

    @classmethod
    def of(cls, setup: Setup) -> LotPart:
        """Raises as `plan_job`."""
        return cls(setup, places_of(setup))

    @cached_property
    def moves(self) -> IndexMoves:
        route = self.places.route
        return index_moves(route.index_turns, route.purpose)

    @property
    def load(self) -> LoadCase:
        """What its motor has to move."""
        return self.places.loads.unkind.load

    @property
    def sure(self) -> bool:
        """Whether nothing is assumed of it, so that it has one load."""
        return len(self.places.loads.variants) == 1 and not self.places.loads.assumptions


@dataclass(frozen=True, slots=True)
class _Made:
    part: LotPart
    near: NearMotion


def planned_near(
    parts: Sequence[LotPart], guesses: Sequence[Guess], check: Check
) -> list[tuple[PartLayout, PartMotion] | None]:
    """The plan of each part near its guess, as `part.planned` makes it; None where none is proved to be safe there.

    Of `parts` of which nothing is assumed and no motion is stated. Raises `UnlikeError` where they differ in kind.
    """
    loads = [each.load for each in parts]
    near = motions_near(loads, stacked(loads), [each.moves for each in parts], guesses, check)
    made = [_Made(part, motion) for part, motion in zip(parts, near, strict=True) if motion is not None]
    if not made:
        return [None] * len(parts)
    rows = iter(zip(_layouts(made), _motions(made), strict=True))
    return [next(rows) if motion is not None else None for motion in near]


def _motions(made: Sequence[_Made]) -> list[PartMotion]:
    checks = LotChecks([_case(each) for each in made], acceptable(made[0].part.setup.job.accept))
    told = zip(made, checks.verdicts, checks.reasons, checks.tightest, checks.margins, strict=True)
    return [
        PartMotion(
            verdict=verdict,
            reasons=reasons,
            tightest=tightest,
            margin=margin,
            margins=margins,
            binding=each.near.motion.binding,
            acceleration=each.near.motion.acceleration,
            speed=each.near.motion.speed,
            move_s=each.near.motion.timing.move_s,
            settle_s=each.near.motion.timing.settle_s,
        )
        for each, verdict, reasons, (tightest, margin), margins in told
    ]


def _case(each: _Made) -> LimitCase:
    unkind, motion = each.part.places.loads.unkind, each.near.motion
    return LimitCase(unkind.machine, unkind.job, unkind.load, _extremes(each.part.moves, motion, each.near.peaks))


def _extremes(moves: IndexMoves, motion: SafeMotion, peaks: tuple[float, float]) -> IndexExtremes:
    longest = plan_index(moves.longest_of_all, motion.acceleration, motion.speed)
    return IndexExtremes(
        acceleration=motion.acceleration,
        peak_speed=float(longest.peak_speed),
        cruises=bool(longest.is_trapezoid),
        longest=moves.longest_of_all,
        duration=float(longest.duration),
        peak_pushing=peaks[0],
        peak_holding=peaks[1],
    )


def _layouts(made: Sequence[_Made]) -> list[PartLayout]:
    return [laid_out(_layout(each)) for each in made]


def _layout(each: _Made) -> Layout:
    return layout_at(each.part.places, each.near.motion.speed, each.near.motion.acceleration)
