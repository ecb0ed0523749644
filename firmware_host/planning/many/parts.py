"""Each part of a table with its own segments and its own quickest safe motion."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import overload

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.model.files.loading import Setup
from firmware_host.model.files.parts import PartRow
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.many.rows import PartTable, Spread, each_planned, inside
from firmware_host.planning.plan import Layout, plan_job, plan_layout


@dataclass(frozen=True, slots=True)
class PartLayout:
    """What a part's segments come to.

    `segments`: how many; `width_deg`: of the widest. `gap` (m, + gap, - overlap): the seam that is farthest from
    closed, as it must be; `lowest`, `highest` (m): the least and the largest that any may come to, each 0 without a
    seam. `showing`: how many may show; None where no spot is known.
    """

    segments: int
    width_deg: float
    gap: float
    lowest: float
    highest: float
    showing: int | None


@dataclass(frozen=True, slots=True)
class PartMotion:
    """A part's own motion and what the limits say to it: as in `LimitReport` and `SafeMotion`, in SI units.

    `tightest`: the check with the least margin of those that make the verdict, and its `margin`, None where none is
    known. `margins`: of each check.
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    tightest: str
    margin: float | None
    margins: Mapping[str, float | None]
    binding: tuple[str, ...]
    acceleration: float
    speed: float
    move_s: float
    settle_s: float

    @property
    def index_s(self) -> float:
        """An average index with its settling, s."""
        return self.move_s + self.settle_s


@dataclass(frozen=True, slots=True)
class PartPlan:
    """One part of a table. `trouble` says why it cannot be planned, or has no safe motion: then the rest is None.

    `motion` is None, too, where only the layout was asked for.
    """

    part: PartRow
    layout: PartLayout | None = None
    motion: PartMotion | None = None
    trouble: str = ""

    @property
    def verdict(self) -> Verdict:
        """That of its limits; fails where it cannot be planned, and holds where nobody asked the limits."""
        if self.trouble:
            return Verdict.FAILS
        return self.motion.verdict if self.motion is not None else Verdict.HOLDS


@dataclass(frozen=True, eq=False)
class PartPlans(Sequence[PartPlan]):
    """The parts of a table in its order, each a `PartPlan`; and every figure as an array, shape (parts,).

    What a part doesn't have is NaN, 0 segments, or an empty text.
    """

    parts: tuple[PartPlan, ...] = field(repr=False)

    def __len__(self) -> int:
        return len(self.parts)

    @overload
    def __getitem__(self, place: int) -> PartPlan: ...

    @overload
    def __getitem__(self, place: slice) -> tuple[PartPlan, ...]: ...

    def __getitem__(self, place: int | slice) -> PartPlan | tuple[PartPlan, ...]:
        return self.parts[place]

    def __iter__(self) -> Iterator[PartPlan]:
        return iter(self.parts)

    def __repr__(self) -> str:
        return f"<PartPlans: {len(self)} parts, {int(self.stops.sum())} of them stopped>"

    @cached_property
    def verdict(self) -> NDArray[np.str_]:
        """Each verdict as a text."""
        return np.array([each.verdict.value for each in self.parts])

    @cached_property
    def stops(self) -> NDArray[np.bool_]:
        """Whether a part may not move."""
        return np.array([each.verdict.stops for each in self.parts])

    @cached_property
    def trouble(self) -> NDArray[np.str_]:
        """Why a part cannot be planned."""
        return np.array([each.trouble for each in self.parts])

    @cached_property
    def tightest(self) -> NDArray[np.str_]:
        """The check with the least margin."""
        return np.array([each.motion.tightest if each.motion is not None else "" for each in self.parts])

    @cached_property
    def margin(self) -> FloatArray:
        """Its margin."""
        return self._of_motion(lambda motion: motion.margin)

    @cached_property
    def binding(self) -> tuple[tuple[str, ...], ...]:
        """What stops each part from going faster."""
        return tuple(each.motion.binding if each.motion is not None else () for each in self.parts)

    @cached_property
    def index_s(self) -> FloatArray:
        """Seconds of an average index, settling included."""
        return self._of_motion(lambda motion: motion.index_s)

    @cached_property
    def acceleration(self) -> FloatArray:
        """Of the part, rad/s^2."""
        return self._of_motion(lambda motion: motion.acceleration)

    @cached_property
    def speed(self) -> FloatArray:
        """Of the part, rad/s."""
        return self._of_motion(lambda motion: motion.speed)

    @cached_property
    def segments(self) -> NDArray[np.int64]:
        """How many segments."""
        return np.array([each.layout.segments if each.layout is not None else 0 for each in self.parts])

    @cached_property
    def width_deg(self) -> FloatArray:
        """Of the widest segment, degrees."""
        return self._of_layout(lambda layout: layout.width_deg)

    @cached_property
    def gap(self) -> FloatArray:
        """The seam that is farthest from closed, m, + gap, - overlap."""
        return self._of_layout(lambda layout: layout.gap)

    @cached_property
    def gap_lowest(self) -> FloatArray:
        """The least that any seam's gap may come to, m."""
        return self._of_layout(lambda layout: layout.lowest)

    @cached_property
    def gap_highest(self) -> FloatArray:
        """The largest that any seam's gap may come to, m."""
        return self._of_layout(lambda layout: layout.highest)

    def _of_motion(self, figure: Callable[[PartMotion], float | None]) -> FloatArray:
        return _floats(None if each.motion is None else figure(each.motion) for each in self.parts)

    def _of_layout(self, figure: Callable[[PartLayout], float | None]) -> FloatArray:
        return _floats(None if each.layout is None else figure(each.layout) for each in self.parts)


def plan_many(
    setup: Setup,
    table: PartTable,
    *,
    check: Check = never,
    told: Callable[[int], None] = lambda done: None,
    spread: Spread | None = None,
) -> PartPlans:
    """Plan the job for each part of a table, its values in place of the job's (see `rows.part_rows`).

    A part that cannot be planned is one that fails and says why. `check` is called at least each 50 ms and may raise;
    `told` with the number of parts done. `spread`: what to use for `map`, such as that of a `ProcessPoolExecutor`, to
    compute on several processors; then `check` is called whenever a part comes back. Raises `InputError` for a table
    that is none, for a key that neither job nor machine has, and for a number without its unit, each with the row.
    """
    return _each(setup, table, partial(_planned, check=inside(check, spread)), check, told, spread)


def lay_out_many(
    setup: Setup,
    table: PartTable,
    *,
    check: Check = never,
    told: Callable[[int], None] = lambda done: None,
    spread: Spread | None = None,
) -> PartPlans:
    """The segments and seams of each part alone, as `plan_layout` has them; else as `plan_many`."""
    return _each(setup, table, partial(_placed, check=inside(check, spread)), check, told, spread)


def _each(
    setup: Setup,
    table: PartTable,
    make: Callable[[Setup], tuple[PartLayout, PartMotion | None]],
    check: Check,
    told: Callable[[int], None],
    spread: Spread | None,
) -> PartPlans:
    found = each_planned(setup, table, make, check, told, spread)
    return PartPlans(
        tuple(PartPlan(row, trouble=each) if isinstance(each, str) else PartPlan(row, *each) for row, each in found)
    )


def _planned(setup: Setup, check: Check) -> tuple[PartLayout, PartMotion]:
    plan = plan_job(setup, check=check)
    return _laid_out(plan.layout), _moved(plan.limits)


def _placed(setup: Setup, check: Check) -> tuple[PartLayout, None]:
    return _laid_out(plan_layout(setup, check=check)), None


def _moved(report: LimitReport) -> PartMotion:
    tightest, motion = report.tightest, report.motion
    return PartMotion(
        verdict=report.verdict,
        reasons=report.reasons,
        tightest=tightest.name if tightest is not None else "",
        margin=tightest.margin if tightest is not None else None,
        margins={check.name: check.margin for check in report.checks},
        binding=motion.binding,
        acceleration=motion.acceleration,
        speed=motion.speed,
        move_s=motion.timing.move_s,
        settle_s=motion.timing.settle_s,
    )


def _laid_out(layout: Layout) -> PartLayout:
    seams = layout.seams
    return PartLayout(
        segments=layout.segments.count,
        width_deg=float(layout.segments.widest * 360),
        gap=float(seams.gap[np.abs(seams.gap).argmax()]) if seams.gap.size else 0.0,
        lowest=float(seams.lowest.min(initial=np.inf)) if seams.gap.size else 0.0,
        highest=float(seams.highest.max(initial=-np.inf)) if seams.gap.size else 0.0,
        showing=int(seams.showing().sum()) if seams.tolerance is not None else None,
    )


def _floats(given: Iterator[float | None]) -> FloatArray:
    return np.array([np.nan if each is None else each for each in given], dtype=np.float64)
