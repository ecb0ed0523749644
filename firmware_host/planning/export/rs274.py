"""The move program as RS-274 words, for any interpreter that knows them.

Source of the words: NIST RS274/NGC Interpreter, version 3 (Kramer, Proctor, Messina, 2000): G21 mm, G90 absolute,
G94 units per minute, G61 exact path (every end of a move is come to, none is rounded off into the next), G92.1 no axis
offsets, G1 straight feed, G4 P seconds of dwell, M0 program stop, M2 end. The feed of a purely rotary move is in
degrees per minute (section 2.1.2.5), and its axis counts on beyond a turn (section 2.1.1). Comments hold only the
planner's own words, never a name from a file.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from firmware_host.model.machine.machine import Machine
from firmware_host.planning.route.controller_units import acceleration_text, feed_text
from firmware_host.planning.route.coordinates import StoredScale, prove_coordinates
from firmware_host.planning.route.moves import MoveProgram, Purpose

_ROTARY = "ABC"
_TURN_BACK_S = 0.01
"""The shortest dwell before the axis turns back, s: any ends the move before it. Common practice, no source."""


def rs274_lines(machine: Machine, program: MoveProgram, *, passes: int, settle_s: float) -> Iterator[str]:
    """The program, line by line: each segment is a move, a dwell of `settle_s` (s) and one stop for each pass.

    Where the axis turns back (lost motion taken up, whole turns) a dwell stands between the two moves, so that no
    interpreter joins them. It begins with a stop at which the zero is to be set. Coordinates count from where the part
    stands then; they are in the machine's axis unit and proved for its steps-per-unit with three decimals. Raises
    `CoordinateError`.
    """
    scale = StoredScale.as_written(machine.steps_per_axis_unit)
    coordinates = prove_coordinates(machine.axis.sign * program.route.targets, scale)
    letter, unit = machine.axis.letter, machine.axis.unit
    angle_per_unit = Fraction(360) * scale.middle / program.route.per_part_turn
    yield f"(axis {letter} in {unit}, one unit turns the part {float(angle_per_unit):.9g} deg)"
    per_turn = float(program.route.per_part_turn)
    yield f"(steps per unit {float(scale.middle):.3f}, {per_turn:.9g} microsteps per turn of the part)"
    feed = feed_text(program.speed, program.route.per_part_turn, scale.middle)
    acceleration = acceleration_text(program.acceleration, program.route.per_part_turn, scale.middle)
    yield f"(set its acceleration to {acceleration} units/s2)"
    yield f"(set its rate to {feed} units/min or more)"
    if machine.axis.reversed:
        yield "(reversed: a coordinate that falls turns the part as the mark runs)"
    if letter in _ROTARY:
        yield "(an unwrapped rotary axis: it counts on beyond 360, never from 0 again)"
    yield "(keep the motor energised, and prove this program without the laser first)"
    yield "G21 G90 G94"
    yield "G61 (exact stop, G61.1 where that is told apart)"
    yield "G92.1 (no offset of another program)"
    yield f"M0 (set {letter} to zero where the part stands, without any other offset)"
    count = int(program.route.segment.max())
    rows = zip(program.route.segment.tolist(), program.route.purpose.tolist(), strict=True)
    for index, (segment, purpose) in enumerate(rows):
        word = f"(segment {segment} of {count})" if segment else f"({Purpose(purpose).word})"
        yield f"G1 {letter}{coordinates.text(index)} F{feed} {word}"
        if not segment and purpose != Purpose.FINISH:
            yield f"G4 P{max(settle_s, _TURN_BACK_S):.3f} (it stops before it turns back)"
        elif segment:
            yield f"G4 P{settle_s:.3f}"
            yield from (f"M0 (mark now, pass {number} of {passes})" for number in range(1, passes + 1))
    yield "M2"
