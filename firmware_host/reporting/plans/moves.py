"""The move program as a document: one row per segment, and the finishing move."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from firmware_host.model import Machine
from firmware_host.planning.route.controller_units import acceleration_text, feed_text
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.planning.route.moves import MoveProgram, Purpose, Route, beyond_reach
from firmware_host.planning.route.short_moves import MOST_SHORTEST
from firmware_host.reporting.document import (
    MISSING,
    Apart,
    Cell,
    Column,
    Document,
    Figure,
    LongRows,
    Node,
    Notes,
    Row,
    Table,
)
from firmware_host.reporting.measures import counted, number, seconds

_MOST_MICROSTEPS = 256
"""More are not common (common practice, no source)."""
_COLUMNS = (
    Column("segment", "segment"),
    Column("target_microstep", "microstep"),
    Column("delta_microsteps", "microsteps moved", form="+d"),
    Column("angle_deg", "angle", "deg", ".4f"),
    Column("duration_s", "duration", "s", ".3f"),
    Column("via_microstep", "by way of"),
)


def moves_document(program: MoveProgram, machine: Machine | None = None) -> Document:
    """The whole program. The number of microsteps per turn is an exact fraction in text.

    With the `machine`, what its controller has to be set to comes too, in units of its axis.
    """
    return Document(
        (
            Notes((_answer(program),)),
            *(_controller(program, machine) if machine is not None else ()),
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
            Table("moves", "Moves", _COLUMNS, _rows(program), last=Apart("finish", _finish(program))),
        )
    )


def _answer(program: MoveProgram) -> str:
    """How many moves there are, what they take, and how quickly the part turns."""
    moving = program.durations[program.durations > 0]
    speed, acceleration = math.degrees(program.speed), math.degrees(program.acceleration)
    quick = f"up to {number(speed)} deg/s, ramps of {number(acceleration)} deg/s^2"
    return f"In all {counted(moving.size, 'move')}, {seconds(float(moving.sum()))} of turning: {quick}."


def _controller(program: MoveProgram, machine: Machine) -> tuple[Node, ...]:
    """What the controller has to be set to for these moves."""
    scale = StoredScale.as_written(machine.steps_per_axis_unit).middle
    per_turn, unit = program.route.per_part_turn, machine.axis.unit
    feed = float(feed_text(program.speed, per_turn, scale))
    acceleration = float(acceleration_text(program.acceleration, per_turn, scale))
    return (
        _warnings(program, machine),
        Figure("axis", "Axis of the controller", machine.axis.letter),
        Figure("axis_reversed", "Its coordinates have the other sign than the microsteps", machine.axis.reversed),
        Figure("axis_unit", "Unit of the axis", unit),
        Figure("steps_per_unit", "Steps per unit of the axis", float(scale), f"/{unit}", ".3f"),
        Figure("rate_units_per_min", "Rate of the axis, at least", feed, f"{unit}/min", ".6g"),
        Figure("acceleration_units_per_s2", "Acceleration of the axis", acceleration, f"{unit}/s^2", ".6g"),
    )


def _warnings(program: MoveProgram, machine: Machine) -> Notes:
    """What does not go as one would think."""
    route, lines = program.route, []
    if route.purpose[-1] == Purpose.FINISH and not route.goes_back and route.deltas[-1] < 0:
        turns = abs(int(route.deltas[-1])) / float(route.per_part_turn)
        lines.append(
            f"The finish at the next turn goes back {turns:.4g} turns: a whole turn more lies beyond "
            "the travel or the controller's reach."
        )
    if (found := beyond_reach(machine, route)) is not None:
        lines.append(
            f"Targets lie up to {found[0]} microsteps from zero, beyond the {found[1]} within which the controller's "
            "arithmetic is sure to land on each. A run proves every one first, and is refused where it can't."
        )
    return Notes((*lines, *short_moves(route, machine)), "warnings")


def short_moves(route: Route, machine: Machine) -> Iterator[str]:
    """What becomes of the moves that a controller may leave out because they are too short."""
    stated = machine.link.stated.shortest_move
    shortest = stated or MOST_SHORTEST
    count = replace(route, shortest=shortest).too_short
    if not count:
        return
    many = f"{counted(count, 'move')} {'is' if count == 1 else 'are'} shorter than {shortest} microsteps"
    finer = machine.driver.microsteps * -(-shortest // route.least_move)
    remedy = f" With driver.microsteps = {finer} none would be." if finer <= _MOST_MICROSTEPS else ""
    if stated is not None:
        yield f"{many}, which the controller leaves out: each goes past its target and comes back.{remedy}"
    else:
        yield (
            f"{many}. Some controllers leave such moves out without a word. A run asks, and goes past the target and "
            f"back where that is so or is not known; to plan it state link.stated.shortest_move.{remedy}"
        )


def _rows(program: MoveProgram) -> LongRows:
    """One row per segment: microsteps moved from the last segment's standstill, duration with any take-up.

    By way of: the microstep where the axis turns back to take up lost motion or whole turns; None if it comes straight.
    """
    route = program.route
    indexes = np.flatnonzero(route.purpose == Purpose.INDEX)
    goes_by = np.diff(indexes, prepend=-1) > 1
    stood = np.concatenate((np.zeros(1, dtype=np.int64), route.targets[indexes[:-1]]))
    angles, durations = program.angles_deg(), program.durations

    def rows(start: int, stop: int) -> Iterator[Row]:
        for place in range(start, stop):
            at = indexes[place]
            by, target = bool(goes_by[place]), int(route.targets[at])
            duration = float(durations[at]) + (float(durations[at - 1]) if by else 0.0)
            via = int(route.targets[at - 1]) if by else None
            yield (int(route.segment[at]), target, target - int(stood[place]), float(angles[at]), duration, via)

    return LongRows(indexes.size, rows)


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
