"""Predicted beside measured, as documents: of a machine as it was commissioned, of a run, of the parts of a batch."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence

from firmware_host.planning.compare.measured import Beside
from firmware_host.reporting.document import Cell, Column, Document, Notes, Table
from firmware_host.reporting.measures import between, counted
from firmware_host.reporting.pictures.of_run.subject import RunSubject

_FIGURES = (
    Column("name", "figure"),
    Column("predicted", "predicted from the machine's data"),
    Column("measured", "with what was measured"),
    Column("unit", "unit"),
)
_INDEXES = (
    Column("segment", "segment"),
    Column("planned_s", "planned", "s", form=".4g"),
    Column("measured_s", "measured", "s", form=".4g"),
    Column("later_s", "measured - planned", "s", form="+.2g"),
)
_PARTS = (
    Column("part", "part"),
    Column("indexes", "indexes", form="d"),
    Column("planned_s", "planned, in all", "s", form=".4g"),
    Column("measured_s", "measured, in all", "s", form=".4g"),
    Column("median_s", "later, at the median", "s", form="+.2g"),
)
_INDEX = "An index: turning and settling, from setting off until the gate opened; the controller's answers are in it."
_NOTHING = "Of the machine nothing was measured that a plan reckons with: how it swings, loses steps, warms."


def machine_document(found: Sequence[Beside]) -> Document:
    """What the machine's data predict beside what follows with what was measured on it."""
    if not found:
        return Document((Notes((_NOTHING,)),))
    rows = tuple((each.name, _between(each.predicted), _between(each.measured), each.unit) for each in found)
    return Document((Table("beside", "The machine", _FIGURES, rows),))


def run_times_document(of: RunSubject) -> Document:
    """What each index of a run took beside the plan."""
    pairs = of.index_pairs()
    if not pairs:
        return Document((Notes(("No index of this run can be compared with its plan.",)),))
    rows = tuple((stand.segment, planned_s, took_s, took_s - planned_s) for stand, planned_s, took_s in pairs)
    return Document((Notes((_INDEX,)), Table("indexes", "Index times", _INDEXES, rows)))


def parts_times_document(parts: Iterable[tuple[str, RunSubject]], left_out: int) -> Document:
    """The same of each part of a batch, by the name of its run; `left_out`: parts whose runs were not looked at."""
    rows = []
    for name, of in parts:
        pairs = of.index_pairs()
        if pairs:
            planned_s, took_s = sum(pair[1] for pair in pairs), sum(pair[2] for pair in pairs)
            rows.append(
                (name, len(pairs), planned_s, took_s, statistics.median(took - plan for _, plan, took in pairs))
            )
    if not rows:
        return Document((Notes(("No index of this batch can be compared with its plan.",)),))
    more = (f"{counted(left_out, 'part')} more are not looked at here.",) if left_out else ()
    return Document((Notes((_INDEX, *more)), Table("parts", "Index times of each part", _PARTS, tuple(rows))))


def _between(ends: tuple[float, float]) -> Cell:
    return Cell(ends, between(*ends))
