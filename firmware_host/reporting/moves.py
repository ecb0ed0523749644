"""The move program as a document: one row per segment, and the finishing move."""

from __future__ import annotations

import math
from typing import Any

from firmware_host.planning.export.table import COLUMNS, finish_row, move_rows
from firmware_host.planning.route.moves import MoveProgram
from firmware_host.reporting.document import MISSING, Apart, Cell, Column, Document, Figure, Row, Table

_COLUMNS = (
    Column("segment", "segment"),
    Column("target_microstep", "microstep"),
    Column("delta_microsteps", "microsteps moved", form="+d"),
    Column("angle_deg", "angle", "deg", ".4f"),
    Column("duration_s", "duration", "s", ".3f"),
    Column("via_microstep", "by way of"),
)


def moves_document(program: MoveProgram) -> Document:
    """The whole program. The number of microsteps per turn is an exact fraction in text."""
    finish = finish_row(program)
    last = None if finish is None else (Cell(MISSING, "finish"), *_row(finish | {"via_microstep": MISSING})[1:])
    return Document(
        (
            Figure(
                "microsteps_per_part_revolution", "Microsteps in a turn of the part", str(program.route.per_part_turn)
            ),
            Figure("speed_deg_per_s", "Speed of the part", math.degrees(program.speed), "deg/s", ".4g"),
            Figure(
                "acceleration_deg_per_s2",
                "Acceleration of the part",
                math.degrees(program.acceleration),
                "deg/s^2",
                ".4g",
            ),
            Figure("one_side_approach", "Every mark is approached from one side", program.route.one_side),
            Table("moves", "Moves", _COLUMNS, tuple(map(_row, move_rows(program))), last=Apart("finish", last)),
        )
    )


def _row(row: dict[str, Any]) -> Row:
    return tuple(row.get(key) for key in COLUMNS)
