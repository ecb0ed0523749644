"""The limits of a job as a document: the verdict, every check, and what an index could take."""

from __future__ import annotations

from collections.abc import Mapping

from firmware_host.planning.index.report import IndexAdvice
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.reliability.estimate import Reliability
from firmware_host.reporting.document import MISSING, Cell, Column, Document, Figure, Notes, Row, Table
from firmware_host.reporting.index import index_section, motion_section
from firmware_host.reporting.reliability import reliability_section

ESTIMATE = Notes(("An estimate from the data given: prove it on the machine, first without the laser.",))

_CHECK_COLUMNS = (
    Column("name", "check"),
    Column("value", "value", form=".4g"),
    Column("limit", "limit", form=".4g"),
    Column("unit", "unit"),
    Column("margin", "margin", form="%"),
    Column("verdict", "verdict"),
    Column("formula", "formula", below=True),
    Column("source", "source", below=True),
)
_JOB_COLUMNS = (
    Column("job", "job"),
    Column("verdict", "verdict"),
    Column("checks", "limits", brief=False),
    Column("index", "index", brief=False),
    Column("", "move", "s", ".4f"),
    Column("", "settle", "s", ".4f"),
    Column("", "index", "s", ".4f"),
    Column("", "cautious move", "s", ".4f"),
    Column("", "settle", "s", ".4f"),
    Column("", "index", "s", ".4f"),
    Column("", "times quicker", form=".2f"),
    Column("", "stopped by"),
)


def limits_document(report: LimitReport, found: Reliability | None = None) -> Document:
    """The report; with what was `found` of its reliability, if that was asked for."""
    remedies = (f"  {c.name} {c.verdict.value}: {c.remedy}" for c in report.checks if c.verdict is not Verdict.HOLDS)
    advice = report.advice
    return Document(
        (
            Figure("verdict", "Verdict", report.verdict, brief=True),
            Notes(tuple(remedies)),
            checks_table(report),
            motion_section(report.motion) if advice is None else index_section(advice),
            *(() if found is None else (reliability_section(found),)),
            ESTIMATE,
        )
    )


def checks_table(report: LimitReport | None) -> Table:
    """Every check with its value, margin and verdict; no rows without a report."""
    rows: tuple[Row, ...] = tuple(
        (
            check.name,
            check.value,
            check.limit,
            check.unit,
            check.margin,
            check.verdict,
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
            checks_table(report),
            MISSING if report.advice is None else index_section(report.advice),
            *_times(report),
            report.motion.binding,
        )
        for name, report in reports.items()
    )
    return Document((Table("jobs", title, _JOB_COLUMNS, rows),))


def _times(report: LimitReport) -> tuple[float | None, ...]:
    chosen = report.motion.timing
    advice: IndexAdvice | None = report.advice
    if advice is None or advice.cautious is None:
        return (chosen.move_s, chosen.settle_s, chosen.index_s, None, None, None, None)
    usual = advice.cautious.timing
    times = (chosen.move_s, chosen.settle_s, chosen.index_s, usual.move_s, usual.settle_s, usual.index_s)
    return (*times, 1 / advice.cautious.quicker)
