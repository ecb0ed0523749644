"""A plan, its limits or a run as a notebook shows it: the answer, the picture that fits, and the table as data."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property, partial
from importlib import import_module
from typing import TYPE_CHECKING, Any, NamedTuple

from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.model.part.part import Arc
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.plan import JobPlan, place_segments
from firmware_host.reporting.document import MISSING, Cell, Document, Node, Section, Table
from firmware_host.reporting.measures import Units
from firmware_host.reporting.pictures.of_run.subject import RunSubject, run_subject
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.render.text import value_of
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.runs.folder import RunFolder

if TYPE_CHECKING:
    from pandas import DataFrame

    from firmware_host.reporting.pictures.drawn import Drawn

Shows = JobPlan | LimitReport | RunRecord


class Shown:
    """What `show` makes: a notebook displays it, `print` tells its answer, `to_frame` gives its table as data."""

    def __init__(self, document: Document, draw: Callable[[], Sequence[Drawn]], units: Units) -> None:
        self._document = document
        self._draw = draw
        self._units = units

    def __repr__(self) -> str:
        return "\n".join(line for node in self._first for line in getattr(node, "lines", ()))

    def _repr_html_(self) -> str:
        """The answer with its picture, for whoever displays HTML: escaped, and nothing is loaded from anywhere."""
        return self._html

    @cached_property
    def _html(self) -> str:
        from firmware_host.reporting.report.page import document_part  # only where it is displayed

        return document_part(self._first, self._draw(), self._units)

    @property
    def _first(self) -> tuple[Node, ...]:
        return self._document.first or self._document.nodes

    def to_frame(self) -> DataFrame:
        """The main table (segments, limits or passes) as a pandas DataFrame; columns are named as in JSON.

        Numbers are as they are in JSON, in the unit that the name of the column says. Raises `InputError` where pandas
        is not installed.
        """
        table = next(_tables(self._document.nodes), None)
        if table is None:
            raise InputError("there is no table in it", "Show a plan, its limits, or the record of a run")
        kept = [place for place, column in enumerate(table.columns) if column.key]
        rows = [[_plain(row[place]) for place in kept] for row in table.rows]
        return _pandas().DataFrame(rows, columns=[table.columns[place].key for place in kept])


def show(what: Shows, of: Setup | RunFolder | None = None, *, units: Units = Units.METRIC) -> Shown:
    """A plan, its limits or the record of a run, for a notebook, with the picture that fits.

    By itself a plan has the part end-on (what is kept clear it does not know), limits have their margins, a record has
    the step counter at the standstills that it tells of. `of`: with the setup that it was planned from a plan has the
    part unrolled; with the folder of its run a record has its timing. Raises `InputError` where the two do not belong
    together, and as `RunFolder.load_setup` where the folder is damaged.
    """
    if isinstance(what, JobPlan):
        return Shown(segments_document(what.layout, units), _plan_picture(what, of), units)
    if isinstance(what, LimitReport):
        if of is not None:
            raise InputError("limits are shown by themselves", "Leave the second out", key="of")
        return Shown(limits_document(what, units=units), partial(_margins, what), units)
    if isinstance(what, RunRecord):
        return Shown(run_document(what), _record_picture(what, of), units)
    fix = "Show one of these: JobPlan, LimitReport, RunRecord"
    raise InputError(f"a {type(what).__name__} is not shown", fix, key="what")


def _tables(nodes: Sequence[Node]) -> Iterator[Table]:
    for node in nodes:
        if isinstance(node, Table) and node.key and not node.is_empty:
            yield node
        if isinstance(node, Section):
            yield from _tables(node.nodes or ())


def _plain(cell: Any) -> Any:
    value = value_of(cell) if isinstance(cell, Cell) else cell
    return None if value is MISSING or isinstance(value, Table | Section) else value


def _pandas() -> Any:
    try:
        return import_module("pandas")
    except ImportError as error:
        raise InputError("pandas is not installed", 'Install it: "pip install pandas"') from error


def _plan_picture(plan: JobPlan, of: Setup | RunFolder | None) -> Callable[[], tuple[Drawn, ...]]:
    if of is None:
        return partial(_end_on, plan)
    if not isinstance(of, Setup) or place_segments(of) != plan.segments:
        raise InputError("the plan is not of this", "Give the setup that it was planned from", key="of")
    return partial(_unrolled, plan, of)


def _record_picture(record: RunRecord, of: Setup | RunFolder | None) -> Callable[[], tuple[Drawn, ...]]:
    if of is None:
        return partial(_steps, record)
    subject = run_subject(of) if isinstance(of, RunFolder) else None
    if subject is None or (subject.record.job, subject.record.started) != (record.job, record.started):
        raise InputError("the record is not of this", "Give the folder of the run", key="of")
    return partial(_timing, subject)


class _PlanAlone(NamedTuple):
    """A plan without its setup."""

    segments: SegmentPlan
    keep_out: tuple[Arc, ...] = ()
    name: str = "a plan"


class _LimitsAlone(NamedTuple):
    limits: LimitReport
    name: str = "limits"


class _StandAlone(NamedTuple):
    segment: int
    target: int
    reported: float


class _RecordAlone(NamedTuple):
    """A record without its folder: of a pass that was marked again it tells the last standstill alone."""

    record: RunRecord

    @property
    def name(self) -> str:
        return f"{self.record.job}, run of {self.record.started}"

    @property
    def stands(self) -> tuple[_StandAlone, ...]:
        """One for all passes that were marked at it."""
        told = {
            (each.standstill or "", each.segment): _StandAlone(
                each.segment, each.planned_microstep, each.reported_microstep
            )
            for each in self.record.passes
            if each.reported_microstep is not None
        }
        return tuple(told[at] for at in sorted(told))


def _end_on(plan: JobPlan) -> tuple[Drawn, ...]:
    from firmware_host.reporting.pictures.drawn import drawn  # in each of these: only where a picture is displayed
    from firmware_host.reporting.pictures.of_job.end_on import EndOn

    return (drawn(EndOn(), _PlanAlone(plan.segments)),)


def _unrolled(plan: JobPlan, setup: Setup) -> tuple[Drawn, ...]:
    from firmware_host.reporting.pictures.drawn import drawn
    from firmware_host.reporting.pictures.of_job.unrolled import Unrolled
    from firmware_host.reporting.pictures.picture import Subject

    return (drawn(Unrolled(), Subject.of(setup, plan)),)


def _margins(report: LimitReport) -> tuple[Drawn, ...]:
    from firmware_host.reporting.pictures.drawn import drawn
    from firmware_host.reporting.pictures.of_job.margins import Margins

    return (drawn(Margins(), _LimitsAlone(report)),)


def _steps(record: RunRecord) -> tuple[Drawn, ...]:
    from firmware_host.reporting.pictures.drawn import drawn
    from firmware_host.reporting.pictures.of_run.steps import Steps

    picture, subject = Steps(), _RecordAlone(record)
    if picture.missing(subject):
        return ()
    made = drawn(picture, subject)
    if any(each.repeats for each in record.passes):
        made = replace(made, words=f"{made.words} Of passes that were marked again, only the last time is shown.")
    return (made,)


def _timing(subject: RunSubject) -> tuple[Drawn, ...]:
    from firmware_host.reporting.pictures.drawn import drawn
    from firmware_host.reporting.pictures.of_run.timing import Timing

    picture = Timing()
    return () if picture.missing(subject) else (drawn(picture, subject),)
