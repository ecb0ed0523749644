"""Several jobs beside each other: what their limits say, and the chosen index beside the usual cautious one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.markup import escape
from rich.table import Table

from firmware_host.planning.limits.report import LimitReport
from firmware_host.reporting.table_parts import plain_table, verdict_text


def comparison_table(reports: Mapping[str, LimitReport]) -> Table:
    """A row for each job. Times are of an average index, settling included; "-" where there is no advice to compare."""
    table = plain_table(
        "Jobs: the chosen index beside the usual cautious one",
        *("job", "verdict", "move s", "settle s", "index s", "cautious move s", "settle s", "index s", "times quicker"),
        "stopped by",
        left=frozenset({"job", "verdict", "stopped by"}),
    )
    for name, report in reports.items():
        table.add_row(escape(name), verdict_text(report.verdict), *_times(report), ", ".join(report.motion.binding))
    return table


def comparison_document(reports: Mapping[str, LimitReport]) -> dict[str, Any]:
    """The same as JSON values: each job's name with its whole report."""
    return {"jobs": [{"job": name, **report.as_json()} for name, report in reports.items()]}


def _times(report: LimitReport) -> list[str]:
    cautious = report.advice.cautious if report.advice is not None else None
    chosen = report.motion.timing
    texts = [f"{seconds:.4f}" for seconds in (chosen.move_s, chosen.settle_s, chosen.index_s)]
    if cautious is None:
        return [*texts, "-", "-", "-", "-"]
    timing = cautious.timing
    texts += [f"{seconds:.4f}" for seconds in (timing.move_s, timing.settle_s, timing.index_s)]
    return [*texts, f"{1 / cautious.quicker:.2f}"]
