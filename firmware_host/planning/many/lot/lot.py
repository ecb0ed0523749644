"""Parts of one lot planned near where their motions are likely to lie, all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from firmware_host.errors import FormulaRangeError
from firmware_host.model.files.loading import Setup
from firmware_host.planning.guess import Guess
from firmware_host.planning.index.moves import IndexMoves, index_moves
from firmware_host.planning.index.safe_motion import SafeMotion
from firmware_host.planning.index.together.motions import NearMotion, motions_near
from firmware_host.planning.interrupt import Check
from firmware_host.planning.layout.seams import SeamFigures, seam_figures
from firmware_host.planning.limits.accept import acceptable
from firmware_host.planning.limits.case import IndexExtremes, LimitCase
from firmware_host.planning.load.case import LoadCase, LoadVariants
from firmware_host.planning.many.lot.checks import LotChecks
from firmware_host.planning.many.lot.stack import UnlikeError, stacked
from firmware_host.planning.many.part import PartLayout, PartMotion, farthest_from_closed, laid_out
from firmware_host.planning.plan import Places, layout_at, places_of
from firmware_host.planning.route.velocity import plan_index
from firmware_host.planning.surface.creep import SLIPS, IndexMotion
from firmware_host.planning.surface.moved import moved_surface


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
    def kind(self) -> tuple[object, ...]:
        """What no number makes like another: how many segments there are, and what each move is for."""
        segments, route = self.places.segments, self.places.route
        counts = tuple(block.count for block in segments.blocks)
        return counts, segments.full_wrap, route.one_side, route.purpose.tobytes()

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
    """Those of parts with as many segments at once; as `part.laid_out` has each of them."""
    alike = dict[object, list[int]]()
    for place, each in enumerate(made):
        alike.setdefault(each.part.kind, []).append(place)
    found = dict[int, PartLayout]()
    for places in alike.values():
        found.update(zip(places, _layouts_of([made[place] for place in places]), strict=True))
    return [found[place] for place in range(len(made))]


def _layouts_of(made: Sequence[_Made]) -> list[PartLayout]:
    if len(made) == 1:
        return [_layout(each) for each in made]
    try:
        figures = _seams(made)
    except (UnlikeError, FormulaRangeError, TypeError, ValueError):
        return [_layout(each) for each in made]
    showing = figures.showing().sum(axis=-1).tolist() if figures.tolerance is not None else [None] * len(made)
    gaps = farthest_from_closed(figures.gap)
    lowest, highest = figures.lowest.min(axis=-1, initial=np.inf), figures.highest.max(axis=-1, initial=-np.inf)
    seams = figures.gap.shape[-1] > 0
    told = zip(made, gaps.tolist(), lowest.tolist(), highest.tolist(), showing, strict=True)
    return [
        PartLayout(
            segments=each.part.places.segments.count,
            width_deg=float(each.part.places.segments.widest * 360),
            gap=gap,
            lowest=low if seams else 0.0,
            highest=high if seams else 0.0,
            showing=number,
        )
        for each, gap, low, high, number in told
    ]


def _seams(made: Sequence[_Made]) -> SeamFigures:
    """The seams of parts with as many segments each, shape (parts, seams)."""
    unkind = stacked([each.part.places.loads.unkind for each in made])
    plan = stacked([each.part.places.segments for each in made])
    motion = stacked([IndexMotion(each.near.motion.speed, each.near.motion.acceleration) for each in made])
    moved = moved_surface(LoadVariants((), (unkind,)), plan, motion)
    if SLIPS in moved.unknown:
        raise UnlikeError(SLIPS)  # of some of them, or of all: told of each
    targets = np.array([each.part.places.route.segment_targets() for each in made])
    one_side = made[0].part.places.route.one_side
    return seam_figures(unkind.machine, unkind.job, plan, targets, one_side=one_side, moved=moved.causes)


def _layout(each: _Made) -> PartLayout:
    return laid_out(layout_at(each.part.places, each.near.motion.speed, each.near.motion.acceleration))
