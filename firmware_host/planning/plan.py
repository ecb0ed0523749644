"""The whole plan of a job: segments, seams, exact moves, limits and settling, made in one go."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from firmware_host.errors import FormulaRangeError, InputError, LimitExceededError
from firmware_host.model.files.loading import Setup
from firmware_host.planning.assume.assumption import Assumption
from firmware_host.planning.guess import Guess
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.layout.band import axis_slope
from firmware_host.planning.layout.seams import AS_ENTERED, Seams, TrueSizes, predict_seams
from firmware_host.planning.layout.segments import SegmentPlan, plan_segments, require_whole_steps
from firmware_host.planning.load.case import LoadVariants, load_variants
from firmware_host.planning.route.moves import MoveProgram, Route, plan_route, time_moves
from firmware_host.planning.surface.creep import IndexMotion
from firmware_host.planning.surface.moved import moved_surface

if TYPE_CHECKING:
    from firmware_host.planning.limit_report import LimitReport


@dataclass(frozen=True, eq=False)
class Layout:
    """Where the segments fall, where the axis goes, what to expect at the seams, and what nobody stated for it."""

    segments: SegmentPlan
    route: Route
    seams: Seams
    assumptions: tuple[Assumption, ...] = ()

    def __eq__(self, other: object) -> bool:
        return _same(self, other)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"<Layout: {_segments_text(self.segments)}>"


@dataclass(frozen=True, eq=False)
class JobPlan:
    """What follows from a job and its machine. Plans are equal if every number in them is.

    `settle_s`: wait after a move before the gate may open, s: as stated, or the longest that one of the job's indexes
    rings by more than half a microstep (see `index/ringing.py`).
    """

    layout: Layout
    program: MoveProgram
    limits: LimitReport
    settle_s: float

    def __eq__(self, other: object) -> bool:
        return _same(self, other)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        verdict = self.limits.verdict.value
        return f"<JobPlan: {_segments_text(self.segments)}, {self.index_s:.4g} s an index, limits: {verdict}>"

    @property
    def index_s(self) -> float:
        """Time of an average index with its settling, s."""
        return self.limits.motion.timing.index_s

    @property
    def segments(self) -> SegmentPlan:
        """Where the segments fall."""
        return self.layout.segments

    @property
    def seams(self) -> Seams:
        """What to expect at the seams."""
        return self.layout.seams

    @property
    def route(self) -> Route:
        """Where the axis goes."""
        return self.layout.route


def plan_layout(setup: Setup, *, true: TrueSizes = AS_ENTERED, check: Check = never) -> Layout:
    """Lay a job's segments out, what is not stated taken at the unkind end of its range.

    Raises `InputError` or `PlanError` when that can't be done. Only the creep on rollers asks how the part is turned;
    if no motion is found for that, the seams say so. `check` as in `plan_job`.
    """
    places = places_of(setup)
    motion = None
    if places.loads.unkind.machine.drive.cradle is not None:
        try:
            motion = _index_motion(_limits(setup, places, check))
        except (InputError, LimitExceededError, FormulaRangeError):
            motion = None
    return _layout(places, motion, true)


def plan_job(
    setup: Setup, *, true: TrueSizes = AS_ENTERED, check: Check = never, guess: Guess | None = None
) -> JobPlan:
    """Plan a job. Raises `InputError` or `PlanError` when it can't be planned; limits that fail are in the report.

    `check` is called at least each 50 ms of the search for the motion; what it raises stops the plan. `guess`: near
    what its quickest motion lies, see `motion_for`.
    """
    places = places_of(setup)
    check()
    limits = _limits(setup, places, check, guess)
    check()
    layout = _layout(places, _index_motion(limits), true)
    program = time_moves(layout.route, limits.motion.speed, limits.motion.acceleration)
    settle = setup.job.index.settle
    settle_s = settle.si if settle is not None else limits.motion.timing.settle_s
    return JobPlan(layout, program, limits, settle_s)


def place_segments(setup: Setup) -> SegmentPlan:
    """Where a job's segments fall, and nothing of its seams. Raises as `plan_layout`."""
    return places_of(setup).segments


class Places(NamedTuple):
    """Where the segments are and how the axis gets there, before anything is known of how quickly."""

    loads: LoadVariants
    segments: SegmentPlan
    route: Route


def places_of(setup: Setup) -> Places:
    """Load, segments and route of a job. Raises as `plan_layout`."""
    loads = load_variants(setup.machine, setup.job)
    machine, job = loads.unkind.machine, loads.unkind.job
    segments = plan_segments(job, tilt=axis_slope(machine, job))
    require_whole_steps(segments, machine.microsteps_per_part_turn(job.part.contact))
    return Places(loads, segments, plan_route(machine, job, segments))


def _limits(setup: Setup, places: Places, check: Check, guess: Guess | None = None) -> LimitReport:
    from firmware_host.planning.limit_report import check_limits  # a layout alone seldom asks the limits

    speed, acceleration = setup.job.index.speed, setup.job.index.acceleration
    return check_limits(
        setup.machine,
        setup.job,
        index_turns=places.route.index_turns,
        speed=speed.si if speed is not None else None,
        acceleration=acceleration.si if acceleration is not None else None,
        purposes=places.route.purpose,
        loads=places.loads,
        check=check,
        guess=guess,
    )


def _index_motion(limits: LimitReport) -> IndexMotion:
    return IndexMotion(limits.motion.speed, limits.motion.acceleration)


def layout_at(places: Places, speed: float, acceleration: float) -> Layout:
    """The layout of `places` whose indexes are made at `speed` (rad/s) and `acceleration` (rad/s^2) of the part."""
    return _layout(places, IndexMotion(speed, acceleration), AS_ENTERED)


def _layout(places: Places, motion: IndexMotion | None, true: TrueSizes) -> Layout:
    segments, route, unkind = places.segments, places.route, places.loads.unkind
    moved = moved_surface(places.loads, segments, motion)
    seams = predict_seams(
        unkind.machine,
        unkind.job,
        segments,
        route.segment_targets(),
        one_side=route.one_side,
        true=true,
        moved=moved.causes,
        unknown=moved.unknown,
        warnings=moved.warnings,
    )
    return Layout(segments, route, seams, places.loads.assumptions)


def _segments_text(segments: SegmentPlan) -> str:
    widths = segments.widths_deg()
    about = f"{widths.min():.4g} deg" if np.ptp(widths) < 1e-9 else f"{widths.min():.4g} to {widths.max():.4g} deg"
    return f"{segments.count} segments of {about}"


def _same(first: object, second: object) -> bool:
    """Whether two values are alike: dataclasses field by field, arrays element by element."""
    if type(first) is not type(second):
        return False
    if isinstance(first, np.ndarray) and isinstance(second, np.ndarray):
        return first.dtype == second.dtype and np.array_equal(first, second, equal_nan=first.dtype.kind == "f")
    if isinstance(first, tuple) and isinstance(second, tuple):
        return len(first) == len(second) and all(map(_same, first, second))
    if is_dataclass(first) and not isinstance(first, type):
        compared = (each.name for each in fields(first) if each.compare)
        return all(_same(getattr(first, name), getattr(second, name)) for name in compared)
    return bool(first == second)
