"""One input over a range, as a document."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from firmware_host.planning.compare.jumps import jumps_of
from firmware_host.planning.compare.sweep import Sweep, SweepPoint
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import LimitCheck, Verdict
from firmware_host.reporting.assumptions import accepted_notes
from firmware_host.reporting.document import Column, Document, Figure, Notes, Row, Section, Table
from firmware_host.reporting.measures import listed, percent, seconds
from firmware_host.reporting.plans.first.words import caution
from firmware_host.reporting.plans.limits import checks_table

_COLUMNS = (
    Column("verdict", "verdict"),
    Column("reasons", "because of"),
    Column("trouble", "trouble", below=True),
    Column("index_s", "index", "s", ".3f"),
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
    table, jumps = _table(sweep, "value", points), _jumps(points)
    varied = Section("sweep", "", (Figure("key", "Key that is varied", sweep.key), table, jumps))
    first = (
        Notes((*_answer(sweep, points), *accepted_notes(accept).lines, caution(_assumed(points)))),
        _first_table(sweep, points),
        *((replace(jumps, key=""),) if jumps.rows else ()),
    )
    return Document((varied, accepted_notes(accept, "accepted")), first=first)


def _answer(sweep: Sweep, points: Sequence[SweepPoint]) -> Iterator[str]:
    """How many values do, and which of them is quickest."""
    counts = Counter(point.verdict for point in points)
    told = [f"{counts[verdict]} {verdict.value}" for verdict in Verdict if counts[verdict]]
    yield f"{sweep.key} from {sweep.first} to {sweep.last}, {len(points)} values: {listed(told)}."
    able = [(_index_s(point), point) for point in points if not point.verdict.stops and point.report is not None]
    if able:
        quickest, point = min(able, key=lambda each: each[0])
        yield f"Quickest of those that may turn: {point.value}, an index in {seconds(quickest)}, {point.verdict.value}."
    else:
        yield "With none of them it may turn."


def _index_s(point: SweepPoint) -> float:
    return point.report.motion.timing.index_s if point.report is not None else math.inf


def _assumed(points: Sequence[SweepPoint]) -> int:
    return max((len(point.report.assumptions) for point in points if point.report is not None), default=0)


def _first_table(sweep: Sweep, points: Sequence[SweepPoint]) -> Table:
    """Each value with its verdict, its index, and what is tightest; why nothing can be planned stands below."""
    columns = (
        Column("", sweep.key),
        Column("", "verdict"),
        Column("", "index"),
        Column("", "tightest limit"),
        Column("", "margin"),
        Column("", "trouble", below=True),
    )
    return Table("", "", columns, tuple(map(_first_row, points)))


def _first_row(point: SweepPoint) -> Row:
    if point.report is None:
        return (point.value, point.verdict, "-", "-", "-", point.trouble)
    tightest = point.report.tightest
    margin = "-" if tightest is None or tightest.margin is None else percent(tightest.margin)
    name = "-" if tightest is None else tightest.name
    return (point.value, point.verdict, seconds(_index_s(point)), name, margin, point.trouble)


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
