"""One input over a range: a table, JSON and CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

from rich.markup import escape
from rich.table import Table

from firmware_host.planning.compare.sweep import Sweep, SweepPoint
from firmware_host.planning.limits.report import LimitCheck, LimitReport, Verdict
from firmware_host.reporting.table_parts import number, percent, plain_table, verdict_text

_LEFT = frozenset({"verdict", "tightest limit", "because of"})


def sweep_table(sweep: Sweep, points: Sequence[SweepPoint]) -> Table:
    """One row per value: its verdict, the quickest safe index, and the limit with the least margin."""
    columns = ("verdict", "index s", "deg/s^2", "deg/s", "tightest limit", "margin", "because of")
    table = plain_table("Sweep", escape(sweep.key), *columns, left=_LEFT)
    for point in points:
        motion = point.report.motion if point.report is not None else None
        tightest = _tightest(point.report)
        table.add_row(
            point.value,
            verdict_text(point.verdict),
            number(motion.timing.index_s if motion is not None else None),
            number(math.degrees(motion.acceleration) if motion is not None else None),
            number(math.degrees(motion.speed) if motion is not None else None),
            tightest.name if tightest is not None else "-",
            percent(tightest.margin if tightest is not None else None),
            escape(point.trouble) or ", ".join(_reasons(point)) or "-",
        )
    return table


def sweep_document(sweep: Sweep, points: Sequence[SweepPoint]) -> dict[str, Any]:
    """The value of the key `sweep` of `limits --sweep --json`; each point has `verdict` and `checks` like `limits`."""
    return {"key": sweep.key, "points": [_document(point) for point in points]}


def sweep_csv(sweep: Sweep, points: Sequence[SweepPoint]) -> str:
    """One row per value as CSV (RFC 4180) with a header line, every check's margin included; unknown ones are empty."""
    rows = [_flat(sweep, point) for point in points]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(dict.fromkeys(key for row in rows for key in row)))
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _flat(sweep: Sweep, point: SweepPoint) -> dict[str, Any]:
    row = _document(point)
    margins = {f"margin {check['name']}": check["margin"] for check in row.pop("checks")}
    return {sweep.key: row.pop("value"), **row, "reasons": ";".join(row["reasons"]), **margins}


def _document(point: SweepPoint) -> dict[str, Any]:
    report = point.report
    motion = report.motion if report is not None else None
    return {
        "value": point.value,
        "verdict": point.verdict.value,
        "reasons": list(_reasons(point)),
        "trouble": point.trouble,
        "index_s": motion.timing.index_s if motion is not None else None,
        "acceleration_deg_per_s2": math.degrees(motion.acceleration) if motion is not None else None,
        "speed_deg_per_s": math.degrees(motion.speed) if motion is not None else None,
        "checks": [check.as_json() for check in report.checks] if report is not None else [],
    }


def _reasons(point: SweepPoint) -> tuple[str, ...]:
    """The checks that the verdict comes from."""
    if point.report is None or point.verdict is Verdict.HOLDS:
        return ()
    return tuple(check.name for check in point.report.checks if check.verdict is point.verdict)


def _tightest(report: LimitReport | None) -> LimitCheck | None:
    """The limit with the least margin among those that make the verdict, so that no rough estimate hides a failure."""
    known = [(check.margin, check) for check in report.checks if check.margin is not None] if report is not None else []
    grave = [pair for pair in known if report is not None and pair[1].verdict is report.verdict]
    least = min(grave or known, key=lambda pair: pair[0], default=None)
    return least[1] if least is not None else None
