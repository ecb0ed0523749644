"""The move program as RS-274 words, for any interpreter that knows them.

Source of the words: NIST RS274/NGC Interpreter, version 3 (Kramer, Proctor, Messina, 2000): G21 mm, G90 absolute,
G94 units per minute, G1 straight feed, G4 P seconds of dwell, M0 program stop, M2 end. The feed of a purely rotary
move is in degrees per minute (section 2.1.2.5). Comments hold only the planner's own words, never a name from a file.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from firmware_host.model.machine.machine import Machine
from firmware_host.planning.route.controller_units import feed_text
from firmware_host.planning.route.coordinates import StoredScale, prove_coordinates
from firmware_host.planning.route.moves import MoveProgram, Purpose


def rs274_lines(machine: Machine, program: MoveProgram, *, passes: int, settle_s: float) -> Iterator[str]:
    """The program, line by line: each segment is a move, a dwell of `settle_s` (s) and one stop for each pass.

    Coordinates count from where the part stands at the start; they are in the machine's axis unit and proved for its
    steps-per-unit with three decimals. Raises `CoordinateError`.
    """
    scale = StoredScale.as_written(machine.steps_per_axis_unit)
    coordinates = prove_coordinates(program.route.targets, scale)
    letter, unit = machine.axis.letter, machine.axis.unit
    angle_per_unit = Fraction(360) * scale.middle / program.route.per_part_turn
    yield f"(axis {letter} in {unit}, one unit turns the part {float(angle_per_unit):.9g} deg)"
    per_turn = float(program.route.per_part_turn)
    yield f"(steps per unit {float(scale.middle):.3f}, {per_turn:.9g} microsteps per turn of the part)"
    yield "(set the axis to zero where the part stands, and keep the motor energised)"
    yield "(prove this program on the machine without the laser first)"
    yield "G21 G90 G94"
    feed = feed_text(program.speed, program.route.per_part_turn, scale.middle)
    count = int(program.route.segment.max())
    rows = zip(program.route.segment.tolist(), program.route.purpose.tolist(), strict=True)
    for index, (segment, purpose) in enumerate(rows):
        word = f"(segment {segment} of {count})" if segment else f"({Purpose(purpose).word})"
        yield f"G1 {letter}{coordinates.text(index)} F{feed} {word}"
        if segment:
            yield f"G4 P{settle_s:.3f}"
            yield from (f"M0 (mark now, pass {number} of {passes})" for number in range(1, passes + 1))
    yield "M2"
