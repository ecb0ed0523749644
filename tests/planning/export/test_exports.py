"""The program as RS-274, CSV and JSON, read back by readers that are not ours."""

import csv
import io
import json
import math
import re
import warnings
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from gcodeparser import parse_gcode_lines
from pygcode import GCodeAbsoluteDistanceMode, GCodeDwell, GCodeEndProgram, GCodeLinearMove, GCodePauseProgram, Line

from firmware_host.errors import CoordinateError
from firmware_host.model import Machine, load_job
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.export.rs274 import rs274_lines
from firmware_host.planning.layout.segments import plan_segments
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.planning.route.moves import MoveProgram, Purpose, plan_route, time_moves
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.render.csv import csv_text
from firmware_host.reporting.render.json import json_document
from tests.planning.workshop import chuck_machine, job_on, roller_machine

WIDE = {"half_depth": "4 mm"}


def program_for(machine: Machine, mark: dict[str, Any], *, diameter: str = "50 mm", **changes: Any) -> MoveProgram:
    described = job_on(diameter, mark, **({"window": WIDE} | changes))
    return time_moves(plan_route(machine, described, plan_segments(described)), speed=1.0, acceleration=4.0)


PLAYFUL = chuck_machine(gearing=[{"ratio": "3", "lost_motion": "1 deg"}])
MACHINES = [
    pytest.param(chuck_machine(), "50 mm", id="chuck-in-degrees"),
    pytest.param(chuck_machine(gearing=[{"ratio": "60"}], driver={"microsteps": 128}), "50 mm", id="very-fine-chuck"),
    pytest.param(PLAYFUL, "50 mm", id="chuck-with-lost-motion"),
    pytest.param(roller_machine(), "80 mm", id="rollers-in-degrees"),
    pytest.param(roller_machine(axis={"unit": "mm", "letter": "Y"}), "80 mm", id="rollers-in-mm"),
]


def planned_angles(program: MoveProgram) -> list[float]:
    return [float(target / program.route.per_part_turn * 360) for target in program.route.targets.tolist()]


def part_angle(coordinate: float, machine: Machine, diameter_mm: float) -> float:
    """From a coordinate in axis units to the angle of the part, by the drive's own geometry (independent of steps)."""
    if machine.drive.kind == "chuck":
        return coordinate
    if machine.axis.unit == "mm":
        return coordinate / (math.pi * diameter_mm) * 360
    return coordinate * 25.4 / diameter_mm


@pytest.mark.parametrize(("machine", "diameter"), MACHINES)
def test_pygcode_reads_the_planned_angles(machine: Machine, diameter: str) -> None:
    # Outside source: pygcode 0.2.1 parses the words; the angles are integrated here from absolute coordinates.
    program = program_for(
        machine,
        {"angle": "330 deg", "start_angle": "-17 deg"},
        diameter=diameter,
        segments={"count": 9},
        index={"finish": "next-turn"},
    )
    lines = [Line(text) for text in rs274_lines(machine, program, passes=2, settle_s=0.25)]
    codes = [code for line in lines for code in line.block.gcodes]
    assert any(isinstance(code, GCodeAbsoluteDistanceMode) for code in codes)
    moves = [code for code in codes if isinstance(code, GCodeLinearMove)]
    letter = machine.axis.letter
    coordinates = [float(move.params[letter].value) for move in moves]
    millimetres = float(diameter.removesuffix(" mm"))
    resolution = 360 / float(program.route.per_part_turn)
    angles = [part_angle(coordinate, machine, millimetres) for coordinate in coordinates]
    # The scale is written with three decimals, so a coordinate stands for its step and not for the exact angle.
    scale_error = abs(
        float(StoredScale.as_written(machine.steps_per_axis_unit).middle / machine.steps_per_axis_unit) - 1
    )
    assert angles == pytest.approx(planned_angles(program), abs=0.1 * resolution + 400 * scale_error)
    assert sum(isinstance(code, GCodePauseProgram) for code in codes) == 1 + 9 * 2
    turned_back = int(np.isin(program.route.purpose, (Purpose.TAKE_UP, Purpose.UNWIND)).sum())
    assert sum(isinstance(code, GCodeDwell) for code in codes) == 9 + turned_back
    first = next(place for place, code in enumerate(codes) if isinstance(code, GCodeLinearMove))
    before = {type(code).__name__ for code in codes[:first]}
    assert {"GCodeExactPathMode", "GCodeResetCoordSystemOffset", "GCodePauseProgram"} <= before
    # No two moves follow each other: an interpreter has nothing to join.
    assert not any(isinstance(a, GCodeLinearMove) and isinstance(b, GCodeLinearMove) for a, b in pairwise(codes))
    assert isinstance(codes[-1], GCodeEndProgram)
    assert all(set(move.params) == {letter} for move in moves)


@pytest.mark.parametrize(("machine", "diameter"), MACHINES)
def test_gcodeparser_reads_coordinates_that_are_the_planned_microsteps(machine: Machine, diameter: str) -> None:
    # Outside source: gcodeparser 0.3; times the steps-per-unit written in the program, each lands on its microstep.
    program = program_for(machine, {"angle": "330 deg"}, diameter=diameter, segments={"count": 9})
    text = "\n".join(rs274_lines(machine, program, passes=1, settle_s=0.1))
    scale = Fraction(round(machine.steps_per_axis_unit * 1000), 1000)
    moves = [line for line in parse_gcode_lines(text) if line.command == ("G", 1)]
    letter = machine.axis.letter
    assert [round(Fraction(str(line.params[letter])) * scale) for line in moves] == program.route.targets.tolist()
    # Feed: no move is faster than planned, and none slower by more than the rounding to six digits.
    planned = math.degrees(program.speed) * 60
    for line in moves:
        feed = part_angle(float(line.params["F"]), machine, float(diameter.removesuffix(" mm")))
        assert planned * (1 - 1e-4) < feed <= planned * (1 + 1e-4)


def test_the_program_line_by_line() -> None:
    program = program_for(PLAYFUL, {"angle": "90 deg"}, segments={"count": 2}, index={"finish": "unwind"})
    lines = list(rs274_lines(PLAYFUL, program, passes=2, settle_s=0.15))
    comments, words = lines[:6], lines[6:]
    assert all(re.fullmatch(r"\([^()]+\)", line) for line in comments)
    # 9600 microsteps per turn are written 26.667 steps per degree: 1200 steps are 44.9994 of those degrees, 1/30 of a
    # step apart from 45.000. One radian per second is 3437.7 deg/min, 57.295 deg/s; 4 rad/s^2 are 229.18.
    assert comments[1:] == [
        "(steps per unit 26.667, 9600 microsteps per turn of the part)",
        "(set its acceleration to 229.180 units/s2)",
        "(set its rate to 3437.70 units/min or more)",
        "(an unwrapped rotary axis: it counts on beyond 360, never from 0 again)",
        "(keep the motor energised, and prove this program without the laser first)",
    ]
    assert words == [
        "G21 G90 G94",
        "G61 (exact stop, G61.1 where that is told apart)",
        "G92.1 (no offset of another program)",
        "M0 (set A to zero where the part stands, without any other offset)",
        "G1 A-2.1000 F3437.70 (take-up)",
        "G4 P0.150 (it stops before it turns back)",
        "G1 A0.0000 F3437.70 (segment 1 of 2)",
        "G4 P0.150",
        "M0 (mark now, pass 1 of 2)",
        "M0 (mark now, pass 2 of 2)",
        "G1 A44.9994 F3437.70 (segment 2 of 2)",
        "G4 P0.150",
        "M0 (mark now, pass 1 of 2)",
        "M0 (mark now, pass 2 of 2)",
        "G1 A0.0000 F3437.70 (finish)",
        "M2",
    ]


EVIL = "x\n(M3 S1000)\nG0 A999 ; ) M4 $$ \r! ~ ? \x18"


def test_no_name_from_a_file_reaches_the_program() -> None:
    machine = chuck_machine(name=EVIL, gearing=[{"name": EVIL[:60], "ratio": "3"}], motor={"name": EVIL, "data": EVIL})
    program = program_for(machine, {"angle": "90 deg"}, name=EVIL, part={"length": "7 mm"}, segments={"count": 3})
    lines = list(rs274_lines(machine, program, passes=1, settle_s=0.1))
    for line in lines:
        assert line.isascii()
        assert line.isprintable()
        assert not re.search(r"M3|M4|S1000|G0\b|A999|[$!~?;]", line)
        assert re.fullmatch(
            r"(G21 G90 G94|G61 |G92\.1 |G1 A-?\d+\.\d+ F\d+\.\d+ |G4 P\d\.\d{3} ?|M0 |M2)?(\([a-z0-9 ,.:/-]*\))?",
            line,
            re.I,
        )
    plain = chuck_machine(gearing=[{"ratio": "3"}])
    same = program_for(plain, {"angle": "90 deg"}, segments={"count": 3})
    assert list(rs274_lines(plain, same, passes=1, settle_s=0.1)) == lines
    assert EVIL[:6] not in json.dumps(json_document(moves_document(program)))
    assert EVIL[:6] not in csv_text(moves_document(program).tables[0])


@pytest.mark.some(3)
@pytest.mark.parametrize(
    ("machine", "diameter"),
    [
        *MACHINES,
        pytest.param(
            chuck_machine(gearing=[{"ratio": "123456789/123456787"}, {"ratio": "12.345678901234"}]),
            "50 mm",
            id="odd-ratios",
        ),
        pytest.param(
            roller_machine(roller="25.40000000000000000001 mm"), "79.99999999999999999 mm", id="odd-diameters"
        ),
    ],
)
def test_no_line_is_longer_than_80_characters_with_its_end(machine: Machine, diameter: str) -> None:
    program = program_for(
        machine, {"angle": "360 deg", "start_angle": "-300 deg"}, diameter=diameter, segments={"count": 999}
    )
    lines = list(rs274_lines(machine, program, passes=1000, settle_s=99.0))
    assert max(len(line) + 1 for line in lines) <= 80


def test_a_machine_that_has_no_coordinate_for_a_step_is_refused() -> None:
    # 200 full steps x 256 microsteps x 100:1 make 5.12 million steps per turn: half a turn out, either way, is beyond
    # what 32 bits resolve.
    fine = chuck_machine(driver={"microsteps": 256}, gearing=[{"ratio": "100"}])
    program = program_for(fine, {"angle": "90 deg", "start_angle": "150 deg"}, segments={"count": 3})
    with pytest.raises(CoordinateError, match=r"beside step 2\d{6}: off by up to"):
        list(rs274_lines(fine, program, passes=1, settle_s=0.1))


def test_a_program_that_begins_two_thousand_turns_out_takes_them_back() -> None:
    # 3200/360 is written 8.889; 6.4 million steps are beyond what 32 bits resolve, and 2000 turns are whole steps.
    program = program_for(chuck_machine(), {"angle": "90 deg", "start_angle": "720000 deg"}, segments={"count": 3})
    moves = [line for line in rs274_lines(chuck_machine(), program, passes=1, settle_s=0.1) if line.startswith("G1 ")]
    coordinates = [Fraction(line.split()[1].removeprefix("A")) * Fraction("8.889") for line in moves]
    assert [round(steps) for steps in coordinates] == [0, 0, 267, 533]
    assert [line.split("(")[1] for line in moves] == [
        "unwind)",
        "segment 1 of 3)",
        "segment 2 of 3)",
        "segment 3 of 3)",
    ]


@pytest.mark.parametrize("profile", list_profiles("jobs"), ids=lambda profile: profile.name)
def test_the_program_of_a_shipped_job_parses_and_counts_its_steps(profile: Any) -> None:
    setup = load_job(str(profile.path))
    route = plan_route(setup.machine, setup.job, plan_segments(setup.job))
    program = time_moves(route, speed=0.5, acceleration=2.0)
    text = "\n".join(rs274_lines(setup.machine, program, passes=setup.job.mark.passes, settle_s=0.2))
    scale = Fraction(round(setup.machine.steps_per_axis_unit * 1000), 1000)
    moves = [line for line in parse_gcode_lines(text) if line.command == ("G", 1)]
    letter = setup.machine.axis.letter
    assert [round(Fraction(str(line.params[letter])) * scale) for line in moves] == route.targets.tolist()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert sum(len(Line(line).block.gcodes) for line in text.splitlines()) >= len(moves) * 2


def test_the_csv_reads_back_row_by_row() -> None:
    # Outside source: the csv module of Python's library (RFC 4180).
    program = program_for(PLAYFUL, {"angle": "90 deg"}, segments={"count": 3}, index={"finish": "unwind"})
    text = csv_text(moves_document(program).tables[0])
    assert text.endswith("\r\n")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert list(rows[0]) == [
        "segment", "target_microstep", "delta_microsteps", "angle_deg", "duration_s", "via_microstep"
    ]  # fmt: skip
    assert [int(row["segment"]) for row in rows] == [1, 2, 3]
    assert [int(row["target_microstep"]) for row in rows] == [0, 800, 1600]
    assert [int(row["delta_microsteps"]) for row in rows] == [0, 800, 800]
    assert [row["via_microstep"] for row in rows] == ["-56", "", ""]
    assert [float(row["angle_deg"]) for row in rows] == pytest.approx([0, 30, 60])
    route, durations = program.route, program.durations
    index = durations[route.purpose == Purpose.INDEX]
    assert [float(row["duration_s"]) for row in rows] == pytest.approx([durations[0] + index[0], index[1], index[2]])


def test_the_document_holds_the_whole_program() -> None:
    program = program_for(PLAYFUL, {"angle": "90 deg"}, segments={"count": 3}, index={"finish": "next-turn"})
    document = json.loads(json.dumps(json_document(moves_document(program))))
    assert set(document) == {
        "microsteps_per_part_revolution",
        "speed_deg_per_s",
        "acceleration_deg_per_s2",
        "one_side_approach",
        "moves",
        "finish",
    }
    assert document["microsteps_per_part_revolution"] == "9600"
    assert document["speed_deg_per_s"] == pytest.approx(57.29577951)
    assert document["acceleration_deg_per_s2"] == pytest.approx(229.1831181)
    assert document["one_side_approach"] is True
    assert document["finish"]["target_microstep"] == 9600
    assert document["finish"]["delta_microsteps"] == 8000
    assert document["finish"]["angle_deg"] == pytest.approx(360)
    # 8000 of 9600 microsteps are 5.2360 rad: t = d/v + v/a.
    assert document["finish"]["duration_s"] == pytest.approx(5.2359878 + 0.25)
    total = sum(row["duration_s"] for row in document["moves"]) + document["finish"]["duration_s"]
    assert total == pytest.approx(program.durations.sum())


def test_with_the_machine_the_document_says_what_the_controller_has_to_be_set_to() -> None:
    # 4 rad/s^2 are 229.183 deg/s^2 of the part; 9600/360 steps per degree are written 26.667, which is 26.6667/26.667
    # of those units: 229.180. 1 rad/s is 3437.70 units/min.
    program = program_for(PLAYFUL, {"angle": "90 deg"}, segments={"count": 3})
    document = json.loads(json.dumps(json_document(moves_document(program, PLAYFUL))))
    told = dict(list(document.items())[:7])
    assert told == {
        "warnings": [],
        "axis": "A",
        "axis_reversed": False,
        "axis_unit": "deg",
        "steps_per_unit": 26.667,
        "rate_units_per_min": 3437.70,
        "acceleration_units_per_s2": 229.180,
    }


def test_a_linear_axis_is_not_asked_to_be_a_rotary_one() -> None:
    machine = roller_machine(axis={"unit": "mm", "letter": "Y"})
    program = program_for(machine, {"angle": "90 deg"}, diameter="80 mm", segments={"count": 3})
    assert not any("rotary" in line for line in rs274_lines(machine, program, passes=1, settle_s=0.0))


def test_a_job_that_stays_has_no_finish() -> None:
    program = program_for(chuck_machine(), {"angle": "90 deg"}, segments={"count": 3})
    document = json_document(moves_document(program))
    assert document["finish"] is None
    assert [row["via_microstep"] for row in document["moves"]] == [None] * 3


def test_rows_of_many_segments_add_up_to_the_last_target() -> None:
    program = program_for(PLAYFUL, {"angle": "360 deg", "start_angle": "-90 deg"}, segments={"count": 777})
    rows = json_document(moves_document(program))["moves"]
    assert np.cumsum([row["delta_microsteps"] for row in rows]).tolist() == [row["target_microstep"] for row in rows]
    assert [row["segment"] for row in rows] == list(range(1, 778))
