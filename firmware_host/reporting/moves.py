"""The move program as a document: one row per segment, and the finishing move."""

from __future__ import annotations

import math
from typing import Any

from firmware_host.planning.export.table import COLUMNS, finish_row, move_rows
from firmware_host.planning.route.moves import MoveProgram
from firmware_host.reporting.document import Cell, Closing, Column, Document, Figure, Table
from firmware_host.reporting.render.csv import csv_text
from firmware_host.reporting.render.json import json_document

_HEADERS = ("segment", "microstep", "microsteps moved", "angle deg", "duration s", "by way of")


def moves_of(program: MoveProgram) -> Document:
    """The whole program. The number of microsteps per turn is an exact fraction in text."""
    finish = finish_row(program)
    closing = None if finish is None else _cells({"segment": "finish", "via_microstep": None, **finish})
    return Document(
        (
            Figure("microsteps_per_part_revolution", str(program.route.per_part_turn)),
            Figure("speed_deg_per_s", math.degrees(program.speed)),
            Figure("acceleration_deg_per_s2", math.degrees(program.acceleration)),
            Figure("one_side_approach", program.route.one_side),
            Table(
                "moves",
                "Moves",
                tuple(Column(key, header) for key, header in zip(COLUMNS, _HEADERS, strict=True)),
                tuple(_cells(row) for row in move_rows(program)),
                Closing("finish", closing, frozenset({"segment", "via_microstep"})),
            ),
        )
    )


def moves_document(program: MoveProgram) -> dict[str, Any]:
    """The whole program as JSON values."""
    return json_document(moves_of(program))


def moves_csv(program: MoveProgram) -> str:
    """The rows as CSV (RFC 4180) with a header line."""
    return csv_text(moves_of(program).tables[0])


def _cells(row: dict[str, Any]) -> tuple[Cell, ...]:
    texts = (
        str(row["segment"]),
        str(row["target_microstep"]),
        f"{row['delta_microsteps']:+d}",
        f"{row['angle_deg']:.4f}",
        f"{row['duration_s']:.3f}",
        "-" if row["via_microstep"] is None else str(row["via_microstep"]),
    )
    return tuple(Cell(row[key], text) for key, text in zip(COLUMNS, texts, strict=True))
