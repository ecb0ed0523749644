"""One input over a range, as a document."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from firmware_host.planning.compare.jumps import jumps_of
from firmware_host.planning.compare.sweep import Sweep, SweepPoint
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import LimitCheck
from firmware_host.reporting.assumptions import accepted_notes
from firmware_host.reporting.document import Column, Document, Figure, Row, Section, Table
from firmware_host.reporting.plans.limits import checks_table

_COLUMNS = (
    Column("verdict", "verdict"),
    Column("reasons", "because of"),
    Column("trouble", "trouble", below=True),
    Column("index_s", "index", "s", ".4g"),
    Column("acceleration_deg_per_s2", "acceleration", "deg/s^2", ".4g"),
    Column("speed_deg_per_s", "speed", "deg/s", ".4g"),
    Column("binding", "stopped by"),
    Column("segments", "segments", brief=False),
    Column("", "tightest limit"),
    Column("", "margin", form="%"),
    Column("checks", "limits", brief=False),
)

_JUMP_COLUMNS = (
    Column("", "from one to the next"),
    Column("before", "from", brief=False),
    Column("after", "to", brief=False),
    Column("what", "what jumps"),
    Column("why", "why", below=True),
)


def sweep_document(sweep: Sweep, points: Sequence[SweepPoint], accept: Mapping[str, str] | None = None) -> Document:
    """One row per value: its verdict, the quickest safe index, what stops it going faster, and the limit with the least
    margin; behind them every jump from a value to the next, with its cause.

    `accept`: what the job accepts.
    """
    table = _table(sweep, "value", points)
    varied = Section("sweep", "", (Figure("key", "Key that is varied", sweep.key), table, _jumps(points)))
    return Document((varied, accepted_notes(accept, "accepted")))


def _jumps(points: Sequence[SweepPoint]) -> Table:
    """Where it jumps from one value to the next, and why."""
    rows = tuple(
        (f"{jump.before} -> {jump.after}", jump.before, jump.after, jump.what, jump.why) for jump in jumps_of(points)
    )
    return Table("jumps", "Jumps from a value to the next", _JUMP_COLUMNS, rows, brief=bool(rows))


def sweep_margins(sweep: Sweep, points: Sequence[SweepPoint]) -> Table:
    """The same with the margin of every check in a column of its own, for CSV; unknown ones are None."""
    table = _table(sweep, sweep.key, points)
    margins = [{check.name: check.margin for check in _checks(point.report)} for point in points]
    names = tuple(dict.fromkeys(name for found in margins for name in found))
    columns = (*table.columns[:-1], *(Column(f"margin {name}", name, form="%") for name in names))
    pairs = zip(table.rows, margins, strict=True)
    return replace(table, columns=columns, rows=tuple((*row[:-1], *map(found.get, names)) for row, found in pairs))


def _table(sweep: Sweep, key: str, points: Sequence[SweepPoint]) -> Table:
    return Table("points", "Sweep", (Column(key, sweep.key), *_COLUMNS), tuple(map(_row, points)))


def _row(point: SweepPoint) -> Row:
    motion = point.report.motion if point.report is not None else None
    tightest = point.report.tightest if point.report is not None else None
    return (
        point.value,
        point.verdict,
        point.report.reasons if point.report is not None else (),
        point.trouble,
        motion.timing.index_s if motion is not None else None,
        math.degrees(motion.acceleration) if motion is not None else None,
        math.degrees(motion.speed) if motion is not None else None,
        point.binding,
        point.segments,
        tightest.name if tightest is not None else None,
        tightest.margin if tightest is not None else None,
        checks_table(point.report),
    )


def _checks(report: LimitReport | None) -> tuple[LimitCheck, ...]:
    return report.checks if report is not None else ()
