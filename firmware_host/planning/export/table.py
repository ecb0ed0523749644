"""The move program as rows: one row per segment, for JSON and CSV."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from firmware_host.planning.route.moves import MoveProgram, Purpose

COLUMNS = ("segment", "target_microstep", "delta_microsteps", "angle_deg", "duration_s", "via_microstep")


def move_rows(program: MoveProgram) -> Iterator[dict[str, Any]]:
    """One row per segment: `delta_microsteps` from the last segment's rest, `duration_s` with any take-up.

    `via_microstep` is where the axis turns back to take up lost motion or to unwind whole turns, None if it comes
    straight.
    """
    rest, via, before_s = 0, None, 0.0
    for segment, purpose, target, _, angle, duration in program.rows():
        if purpose in (Purpose.TAKE_UP, Purpose.UNWIND):
            via, before_s = target, duration
        elif purpose is Purpose.INDEX:
            values = (segment, target, target - rest, angle, before_s + duration, via)
            yield dict(zip(COLUMNS, values, strict=True))
            rest, via, before_s = target, None, 0.0


def finish_row(program: MoveProgram) -> dict[str, Any] | None:
    """The move that ends the job, None if the part stays where it is."""
    if program.route.purpose[-1] != Purpose.FINISH:
        return None
    return {
        "target_microstep": int(program.route.targets[-1]),
        "delta_microsteps": int(program.route.deltas[-1]),
        "angle_deg": float(program.angles_deg()[-1]),
        "duration_s": float(program.durations[-1]),
    }
