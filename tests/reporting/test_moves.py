"""What `moves` says beside its table: a finish that goes back, targets beyond the reach, a reversed axis."""

from __future__ import annotations

from typing import Any

import pytest
from gcodeparser import parse_gcode_lines

from firmware_host.model import Machine
from firmware_host.planning.export.rs274 import rs274_lines
from firmware_host.planning.layout.segments import plan_segments
from firmware_host.planning.route.coordinates import StoredScale, proved_reach
from firmware_host.planning.route.moves import MoveProgram, plan_route, time_moves
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.render.json import json_document
from tests.planning.workshop import chuck_machine, job_on
from tests.reporting.shown import printed


def program_of(machine: Machine, mark: dict[str, Any], finish: str) -> MoveProgram:
    job = job_on("50 mm", mark, window={"half_depth": "4 mm"}, segments={"count": 3}, index={"finish": finish})
    return time_moves(plan_route(machine, job, plan_segments(job)), speed=1.0, acceleration=4.0)


def warnings_of(machine: Machine, mark: dict[str, Any], finish: str = "next-turn") -> list[str]:
    document = moves_document(program_of(machine, mark, finish), machine)
    found: list[str] = json_document(document)["warnings"]
    text = " ".join(printed(document).split())
    assert all(" ".join(line.split()) in text for line in found)
    return found


def test_a_finish_at_the_next_turn_that_has_to_go_back_says_so() -> None:
    # The last of three segments of 30 deg lies at 60 deg; a whole turn, 360 deg, is beyond the travel of 300 deg.
    wound = chuck_machine(axis={"travel": {"lowest": "-10 deg", "highest": "300 deg"}})
    (told,) = warnings_of(wound, {"angle": "90 deg"})
    assert told.startswith("The finish at the next turn goes back 0.1666 turns"), "533 of 3200 microsteps"
    assert warnings_of(chuck_machine(), {"angle": "90 deg"}) == []
    assert warnings_of(wound, {"angle": "90 deg"}, finish="unwind") == []


def test_targets_beyond_the_controller_s_reach_are_warned_of() -> None:
    fine = chuck_machine(driver={"microsteps": 256}, gearing=[{"ratio": "100"}])
    reach = proved_reach(StoredScale.as_written(fine.steps_per_axis_unit))
    program = program_of(fine, {"angle": "90 deg", "start_angle": "150 deg"}, "stay")
    farthest = int(abs(program.route.targets).max())
    assert farthest > reach, "half a turn of 5.12 million microsteps is beyond what 32 bits resolve"
    (told,) = warnings_of(fine, {"angle": "90 deg", "start_angle": "150 deg"}, finish="stay")
    assert told.startswith(f"Targets lie up to {farthest} microsteps from zero, beyond the {reach} within which")


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        (
            6,
            "2 moves are shorter than 6 microsteps, which the controller leaves out: each goes past its target",
        ),
        (
            None,
            "2 moves are shorter than 6 microsteps. Some controllers leave such moves out",
        ),
        (1, ""),
        (3, ""),
    ],
    ids=["stated", "not-stated", "makes-all", "long-enough"],
)
def test_moves_that_a_controller_may_leave_out_are_told_with_what_would_help(stated: int | None, words: str) -> None:
    """Three microsteps each, of 3200 a turn: with twice as many none is below six."""
    machine = chuck_machine(link={"stated": {"shortest_move": stated} if stated else {}})
    told = warnings_of(machine, {"angle": f"{9 * 360 / 3200} deg"}, finish="stay")
    assert len(told) == bool(words)
    for line in told:
        assert line.startswith(words)
        assert line.endswith("With driver.microsteps = 32 none would be.")
        assert ("link.stated.shortest_move" in line) == (stated is None)


def test_where_no_usual_number_of_microsteps_would_do_none_is_advised() -> None:
    fine = chuck_machine(driver={"microsteps": 128}, link={"stated": {"shortest_move": 6}})
    (told,) = warnings_of(fine, {"angle": f"{3 * 360 / 25600} deg"}, finish="stay")
    assert told.endswith("goes past its target and comes back.")


def test_an_export_for_a_reversed_axis_has_every_coordinate_with_the_other_sign() -> None:
    plain, turned = chuck_machine(), chuck_machine(axis={"reversed": True})
    lines = {}
    for machine in (plain, turned):
        program = program_of(machine, {"angle": "90 deg"}, "next-turn")
        text = "\n".join(rs274_lines(machine, program, passes=1, settle_s=0.1))
        lines[machine] = [float(line.params["A"]) for line in parse_gcode_lines(text) if line.command == ("G", 1)]
        assert ("(reversed: a coordinate that falls turns the part as the mark runs)" in text) is machine.axis.reversed
        assert json_document(moves_document(program, machine))["axis_reversed"] is machine.axis.reversed
    assert lines[turned] == [-coordinate for coordinate in lines[plain]]
    assert max(lines[plain]) > 300
