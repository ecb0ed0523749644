"""The move program as a document: one row per segment, and the finishing move."""

from __future__ import annotations

import math
from collections.abc import Iterator

from firmware_host.planning.route.moves import MoveProgram, Purpose
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
            Table("moves", "Moves", _COLUMNS, tuple(_rows(program)), last=Apart("finish", _finish(program))),
        )
    )


def _rows(program: MoveProgram) -> Iterator[Row]:
    """One row per segment: microsteps moved from the last segment's standstill, duration with any take-up.

    By way of: the microstep where the axis turns back to take up lost motion or whole turns; None if it comes straight.
    """
    stood, via, before_s = 0, None, 0.0
    for segment, purpose, target, _, angle, duration in program.rows():
        if purpose in (Purpose.TAKE_UP, Purpose.UNWIND):
            via, before_s = target, duration
        elif purpose is Purpose.INDEX:
            yield (segment, target, target - stood, angle, before_s + duration, via)
            stood, via, before_s = target, None, 0.0


def _finish(program: MoveProgram) -> Row | None:
    """The move that ends the job, None if the part stays where it is."""
    if program.route.purpose[-1] != Purpose.FINISH:
        return None
    return (
        Cell(MISSING, "finish"),
        int(program.route.targets[-1]),
        int(program.route.deltas[-1]),
        float(program.angles_deg()[-1]),
        float(program.durations[-1]),
        MISSING,
    )
