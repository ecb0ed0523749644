"""A table of parts as a document: the answer for all of them, the tightest first, and a row for each."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from firmware_host.model.files.parts import PartRow
from firmware_host.planning.limits.check import Verdict, gravest
from firmware_host.planning.many.motors import PartMotors
from firmware_host.planning.many.part import PartLayout, PartMotion
from firmware_host.planning.many.parts import PartPlan, PartPlans
from firmware_host.reporting.document import Column, Document, Figure, Node, Notes, Row, Table, Value
from firmware_host.reporting.measures import Units, counted
from firmware_host.reporting.plans.first.words import caution
from firmware_host.reporting.plans.limits import ESTIMATE

MOST_SHOWN, _MOST_TROUBLES = 8, 2
"""Parts that a person reads first; the rest is counted."""

_NAMES = (
    Column("part", "part"),
    Column("serial", "serial"),
    Column("values", "with", brief=False),
    Column("trouble", "trouble", below=True),
)
_MOTION = (
    Column("verdict", "verdict"),
    Column("reasons", "because of", brief=False),
    Column("tightest", "tightest limit"),
    Column("margin", "margin", form="%"),
    Column("index_s", "index", "s", ".3f"),
    Column("move_s", "move", "s", ".3f", brief=False),
    Column("settle_s", "settle", "s", ".3f", brief=False),
    Column("acceleration_deg_per_s2", "acceleration", "deg/s^2", ".4g", brief=False),
    Column("speed_deg_per_s", "speed", "deg/s", ".4g", brief=False),
    Column("binding", "stopped by", brief=False),
)
_LAYOUT = (
    Column("segments", "segments"),
    Column("width_deg", "width", "deg", ".3f"),
    Column("gap_mm", "gap", "mm", "+.3f", brief=False),
    Column("lowest_gap_mm", "gap from", "mm", "+.3f"),
    Column("highest_gap_mm", "to", "mm", "+.3f"),
    Column("seams_showing", "show"),
)
_MOTORS = (
    Column("usable", "motors that do"),
    Column("motor", "quickest"),
    Column("verdict", "verdict"),
    Column("index_s", "index", "s", ".3f"),
    Column("torque_margin", "torque", form="%"),
    Column("motors", "motors", brief=False),
)
_MOTOR_COLUMNS = (
    Column("name", "motor"),
    Column("verdict", "verdict"),
    Column("index_s", "index", "s", ".3f"),
    Column("torque_margin", "torque", form="%"),
)


def limits_of_parts(plans: PartPlans) -> Document:
    """Each part with its own safest motion: what nothing can be planned for first, then the least margin."""
    columns = (*_MOTION, *_without_brief(_LAYOUT))
    rows = tuple((*_named(each), *_motion(each), *_layout(each.layout)) for each in plans)
    order = sorted(range(len(plans)), key=lambda place: _tightness(plans[place]))
    verdicts = [each.verdict for each in plans]
    answer = [_verdicts(verdicts)]
    answer += _range("An index takes", [each.motion.index_s for each in plans if each.motion is not None], "s")
    return _document(columns, rows, order, answer, "Parts, the tightest first", gravest(*verdicts))


def segments_of_parts(plans: PartPlans, units: Units = Units.METRIC) -> Document:
    """Each part with its segments and seams: what cannot be laid out first, then the widest gap or overlap."""
    rows = tuple((*_named(each), *_layout(each.layout)) for each in plans)
    order = sorted(range(len(plans)), key=lambda place: _openness(plans[place]))
    laid_out = [each.layout for each in plans if each.layout is not None]
    troubled = len(plans) - len(laid_out)
    answer = [f"{len(plans)} parts{f', {troubled} of them cannot be laid out' if troubled else ''}."]
    counts = sorted(Counter(each.segments for each in laid_out).items())
    answer += [f"{parts} of them in {counted(segments, 'segment')}." for segments, parts in counts[:4]]
    answer += _range("The widest segment is", [each.width_deg for each in laid_out], "deg")
    if laid_out:
        low, high = min(each.lowest for each in laid_out), max(each.highest for each in laid_out)
        answer.append(f"At the seams, from {units.length(low)} to {units.length(high)} (- is an overlap).")
    return _document(_LAYOUT, rows, order, answer, "Parts, the most open seams first", None)


def motors_of_parts(found: Sequence[PartMotors]) -> Document:
    """Each part with the quickest motor that does it: the parts that fewest motors do first."""
    rows = tuple((*_named(each), *_motors(each)) for each in found)
    order = sorted(range(len(found)), key=lambda place: len(found[place].usable))
    none = sum(1 for each in found if not each.usable)
    answer = [f"{len(found)} parts; {f'no motor does {none} of them' if none else 'a motor does each'}."]
    names = [{motor.name for motor in each.usable} for each in found]
    every = set.intersection(*names) if names else set()
    answer.append(f"Motors that do every part: {', '.join(sorted(every)) or 'none'}.")
    return _document(_MOTORS, rows, order, answer, "Parts, those that fewest motors do first", None)


def _document(
    columns: Sequence[Column],
    rows: Sequence[Row],
    order: Sequence[int],
    answer: Sequence[str],
    title: str,
    verdict: Verdict | None,
) -> Document:
    kept = (*_NAMES, *columns)
    figures = () if verdict is None else (Figure("verdict", "Verdict", verdict),)
    return Document(
        (*figures, Figure("count", "Parts", len(rows)), Table("parts", "Parts", kept, rows), ESTIMATE),
        first=(Notes((*answer, caution(0))), *_first(title, kept, [rows[place] for place in order])),
    )


def _first(title: str, columns: tuple[Column, ...], rows: Sequence[Row]) -> Iterator[Node]:
    """A few rows, and behind them why some can't be planned. Parts without a serial are told by their values."""
    shown, left = tuple(rows[:MOST_SHOWN]), len(rows[MOST_SHOWN:])
    part, serial, values, _, *figures = columns
    name = serial if any(row[1] for row in shown) else replace(values, brief=True)
    place = columns.index(serial) if name is serial else columns.index(values)
    yield Table("", title, (part, name, *figures), tuple((row[0], row[place], *row[4:]) for row in shown))
    troubles = [f"{row[0]}: {row[3]}" for row in shown if row[3]]
    lines = [*troubles[:_MOST_TROUBLES], *([f"... and {counted(left, 'more part')}."] if left else [])]
    if lines:
        yield Notes(tuple(lines))


def with_own_columns(document: Document, parts: Sequence[PartRow]) -> Table:
    """The table of all parts with every column as it was given, for CSV; "as given" where a result has its name."""
    table = next(each for each in document.tables if each.key == "parts")
    taken = {column.key for column in table.columns}
    given = tuple(dict.fromkeys(name for part in parts for name in part.columns if name != "serial"))
    own = tuple(Column(name if name not in taken else f"{name} as given", name) for name in given)
    rows = tuple(
        (*row[:2], *(part.columns.get(name, "") for name in given), *row[3:])
        for part, row in zip(parts, table.rows, strict=True)
    )
    return replace(table, columns=(*table.columns[:2], *own, *table.columns[3:]), rows=rows)


def _named(each: PartPlan | PartMotors) -> tuple[Value, ...]:
    part = each.part
    return part.number, part.serial, tuple(f"{key}={value}" for key, value in part.values.items()), each.trouble


def _motion(each: PartPlan) -> tuple[Value, ...]:
    motion: PartMotion | None = each.motion
    if motion is None:
        return (each.verdict, (), "", None, None, None, None, None, None, ())
    return (
        motion.verdict,
        motion.reasons,
        motion.tightest,
        motion.margin,
        motion.index_s,
        motion.move_s,
        motion.settle_s,
        math.degrees(motion.acceleration),
        math.degrees(motion.speed),
        motion.binding,
    )


def _layout(layout: PartLayout | None) -> tuple[Value, ...]:
    if layout is None:
        return (None,) * len(_LAYOUT)
    gaps = (layout.gap * 1e3, layout.lowest * 1e3, layout.highest * 1e3)
    return (layout.segments, layout.width_deg, *gaps, layout.showing)


def _motors(each: PartMotors) -> tuple[Value, ...]:
    motors = tuple((motor.name, motor.verdict, motor.index_s, motor.torque_margin) for motor in each.motors)
    every = Table("", "", _MOTOR_COLUMNS, motors)
    if not each.usable:
        return 0, "", Verdict.FAILS, None, None, every
    best = each.usable[0]
    return len(each.usable), best.name, best.verdict, best.index_s, best.torque_margin, every


def _tightness(each: PartPlan) -> tuple[bool, int, float]:
    motion = each.motion
    margin = motion.margin if motion is not None and motion.margin is not None else -math.inf
    return motion is not None, -each.verdict.gravity, margin


def _openness(each: PartPlan) -> tuple[bool, float]:
    layout = each.layout
    return layout is not None, 0.0 if layout is None else -max(-layout.lowest, layout.highest)


def _verdicts(verdicts: Sequence[Verdict]) -> str:
    """How many parts have each verdict, the gravest first."""
    counts = sorted(Counter(verdicts).items(), key=lambda pair: -pair[0].gravity)
    return f"{counted(len(verdicts), 'part')}: {', '.join(f'{verdict.value} {number}' for verdict, number in counts)}."


def _range(words: str, figures: Iterable[float], unit: str) -> list[str]:
    found = sorted(figures)
    if not found:
        return []
    low, high = f"{found[0]:.3f}", f"{found[-1]:.3f}"
    return [f"{words} {low} {unit}." if low == high else f"{words} {low} to {high} {unit}."]


def _without_brief(columns: Iterable[Column]) -> tuple[Column, ...]:
    return tuple(Column(each.key, each.label, each.unit, each.form, brief=False) for each in columns)
