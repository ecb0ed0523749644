"""The limits of a job as a document: the verdict, every check, and what an index could take."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from firmware_host.planning.index.report import IndexAdvice
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict, told_unknown
from firmware_host.planning.reliability.estimate import Reliability, common_verdict
from firmware_host.reporting.assumptions import assumed_table
from firmware_host.reporting.document import MISSING, Cell, Column, Document, Figure, Notes, Row, Table
from firmware_host.reporting.measures import Units, listed
from firmware_host.reporting.plans.first.limits import first_of_limits, value_and_limit
from firmware_host.reporting.plans.first.words import PROVE_IT, caution
from firmware_host.reporting.plans.index import index_section, motion_section
from firmware_host.reporting.plans.reliability import reliability_section

ESTIMATE = Notes((f"An estimate from the data given: {PROVE_IT}",))

_CHECK_COLUMNS = (
    Column("name", "check"),
    Column("value", "value", form=".4g"),
    Column("limit", "limit", form=".4g"),
    Column("unit", "unit", brief=False),
    Column("margin", "margin", form="%"),
    Column("verdict", "verdict"),
    Column("reason", "accepted because", brief=False),
    Column("assumed", "assumed", brief=False),
    Column("missing", "missing", brief=False),
    Column("stops", "stops", brief=False),
    Column("formula", "formula", brief=False, below=True),
    Column("source", "source", brief=False, below=True),
)
_JOB_COLUMNS = (
    Column("job", "job"),
    Column("verdict", "verdict"),
    Column("not_known", "not known"),
    Column("checks", "limits", brief=False),
    Column("assumptions", "assumed", brief=False),
    Column("index", "index", brief=False),
    Column("", "index", "s", ".3f"),
    Column("", "cautious", "s", ".3f"),
    Column("", "times quicker", form=".2f"),
    Column("", "stopped by"),
)


def limits_document(
    report: LimitReport,
    found: Reliability | None = None,
    units: Units = Units.METRIC,
    *,
    stopping_s: float | None = None,
    notes: tuple[str, ...] = (),
) -> Document:
    """The report; with what was `found` of its reliability, if that was asked for. `units`: those of the reader.

    `stopping_s`: how long a stop takes at the most (s), where that is known; `notes`: what is to be said of its moves.
    """
    advice, unknown, verdict = report.advice, told_unknown(report.checks), common_verdict(report, found)
    known = f"{verdict.value}, on what is known" if unknown else ""
    sections = () if found is None else (reliability_section(found),)
    return Document(
        (
            Figure("verdict", "Verdict", verdict, brief=True, text=known),
            Notes((*_of_reliability(found), *_remedies(report))),
            Figure("not_known", "Not known, and stops nothing", unknown, brief=bool(unknown)),
            checks_table(report, units),
            assumed_table(report.assumptions),
            motion_section(report.motion) if advice is None else index_section(advice),
            *_of_moves(stopping_s, notes),
            *sections,
            ESTIMATE,
        ),
        first=(*first_of_limits(report, found, verdict, units, stopping_s), *_said(notes), *sections),
    )


def _of_moves(stopping_s: float | None, notes: tuple[str, ...]) -> Iterator[Figure | Notes]:
    if stopping_s is not None:
        yield Figure("stopping_s", "A stop stands still within, at the most", stopping_s, "s", ".2f")
        yield Notes(notes, "short_moves")


def _said(notes: tuple[str, ...]) -> Iterator[Notes]:
    if notes:
        yield Notes(notes)


def _remedies(report: LimitReport) -> Iterator[str]:
    """What doesn't hold, or only narrowly, with what would help; what stops and what is graver first."""
    told = (check for check in report.checks if check.verdict is not Verdict.HOLDS)
    for check in sorted(told, key=lambda check: (not check.stops, -check.verdict.gravity)):
        words = check.reason if check.verdict is Verdict.ACCEPTED else check.remedy
        yield f"  {check.name} {check.verdict.value}: {words}"


def _of_reliability(found: Reliability | None) -> Iterator[str]:
    if found is None or found.verdict is Verdict.HOLDS:
        return
    words = f"no step is lost and nothing slips with probability {found.chance.probability:.5g}"
    yield f"  reliability {found.verdict.value}: {words}"


def checks_table(report: LimitReport | None, units: Units = Units.METRIC) -> Table:
    """Every check with its value, margin and verdict; no rows without a report."""
    rows: tuple[Row, ...] = tuple(
        (
            check.name,
            *map(Cell, (check.value, check.limit), value_and_limit(check, units)),
            check.unit,
            check.margin,
            check.verdict,
            check.reason,
            check.assumed,
            check.missing,
            check.stops,
            check.formula,
            Cell(check.source, f"[{check.source}]"),
        )
        for check in (report.checks if report is not None else ())
    )
    return Table("checks", "Limits", _CHECK_COLUMNS, rows)


def comparison_document(reports: Mapping[str, LimitReport]) -> Document:
    """Jobs by name, a row each. Times are of an average index; "-" where there is no advice to compare with."""
    title = "Jobs: the chosen index beside the usual cautious one"
    rows = tuple(
        (
            name,
            report.verdict,
            told_unknown(report.checks),
            checks_table(report),
            assumed_table(report.assumptions),
            MISSING if report.advice is None else index_section(report.advice),
            *_times(report),
            report.motion.binding,
        )
        for name, report in reports.items()
    )
    table = Table("jobs", title, _JOB_COLUMNS, rows)
    return Document((table,), first=(Notes(_answer(reports)), replace(table, key="", title="")))


def _answer(reports: Mapping[str, LimitReport]) -> tuple[str, ...]:
    """How many of the jobs may turn, which may not, and how much is assumed."""
    stopped = [name for name, report in reports.items() if report.verdict.stops]
    able = f"{len(reports) - len(stopped)} of {len(reports)} jobs may turn"
    told = f"{able}; not {listed(stopped)}." if stopped else f"{able}."
    return (told, caution(max(len(report.assumptions) for report in reports.values())))


def _times(report: LimitReport) -> tuple[float | None, ...]:
    """An index as chosen, as the usual cautious setting would make it, and how many times quicker the first is."""
    advice: IndexAdvice | None = report.advice
    if advice is None or advice.cautious is None:
        return (report.motion.timing.index_s, None, None)
    return (report.motion.timing.index_s, advice.cautious.timing.index_s, 1 / advice.cautious.quicker)
