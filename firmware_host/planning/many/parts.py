"""Each part of a table with its own segments and its own quickest safe motion."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import overload

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.model.files.loading import Setup
from firmware_host.model.files.parts import PartRow
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.many.alike import plan_alike
from firmware_host.planning.many.part import PartLayout, PartMotion, laid_out, planned
from firmware_host.planning.many.rows import PartTable, Spread, Together, each_planned, inside
from firmware_host.planning.plan import plan_layout


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
    within = inside(check, spread)
    make, together = partial(planned, check=within), partial(plan_alike, check=within)
    return _each(setup, table, make, check, told, spread, together)


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
    together: Together[tuple[PartLayout, PartMotion | None]] | None = None,
) -> PartPlans:
    found = each_planned(setup, table, make, check, told, spread, together)
    return PartPlans(
        tuple(PartPlan(row, trouble=each) if isinstance(each, str) else PartPlan(row, *each) for row, each in found)
    )


def _placed(setup: Setup, check: Check) -> tuple[PartLayout, None]:
    return laid_out(plan_layout(setup, check=check)), None


def _floats(given: Iterator[float | None]) -> FloatArray:
    return np.array([np.nan if each is None else each for each in given], dtype=np.float64)
