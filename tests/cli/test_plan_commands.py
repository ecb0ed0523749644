"""`segments`, `limits` and `moves`: the documents they promise, the exports, the statuses."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path

import pygcode
import pytest

from firmware_host.model import load_job, load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.compare.advice import advised
from firmware_host.planning.layout.seams import TrueSizes
from firmware_host.planning.plan import JobPlan, plan_job, plan_layout
from firmware_host.reporting.document import Document
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.render.json import json_document
from tests.cli.command import Ended
from tests.cli.conftest import Circumstep

MOTORS = {p.name: load_motor(str(p.path)) for p in list_profiles("motors") if p.shipped}

JOBS = ("bottle-band", "heavy-shaft", "shaft-scale", "sleeve-label")


@pytest.mark.parametrize(
    ("command", "document"),
    [
        ("segments", lambda plan: segments_document(plan.layout)),
        ("moves", lambda plan: moves_document(plan.program, load_job("bottle-band").machine)),
        (
            "limits",
            lambda plan: limits_document(
                advised(load_job("bottle-band"), plan, MOTORS), stopping_s=plan.program.stopping_s(in_pieces=False)
            ),
        ),
    ],
    ids=["segments", "moves", "limits"],
)
def test_the_document_of_a_plan_is_printed_as_json_and_nothing_else(
    circumstep: Circumstep, command: str, document: Callable[[JobPlan], Document]
) -> None:
    wanted = json_document(document(plan_job(load_job("bottle-band"))))
    assert circumstep(command, "bottle-band", "--json") == Ended(0, json.dumps(wanted, indent=2) + "\n", "")


def test_six_segments_of_ten_millimetres_land_where_hand_arithmetic_puts_them(circumstep: Circumstep) -> None:
    moves = json.loads(circumstep("moves", "shaft-scale", "--json").out)["moves"]
    assert [move["target_microstep"] for move in moves] == [0, 611, 1222, 1833, 2445, 3056]


def hasty_job(folder: Path, circumstep: Circumstep) -> str:
    path = folder / "hasty.toml"
    path.write_text(
        circumstep("profile", "show", "job", "shaft-scale").out.replace(
            "[index]", '[index]\nspeed = "1000 deg/s"\nacceleration = "500000 deg/s^2"'
        ),
        encoding="utf-8",
    )
    return str(path)


def test_limits_ends_with_status_1_when_a_limit_fails_and_still_prints_its_document(
    circumstep: Circumstep, tmp_path: Path
) -> None:
    ended = circumstep("limits", hasty_job(tmp_path, circumstep), "--json")
    assert ended.status == 1
    document = json.loads(ended.out)
    assert document["verdict"] == "fails"
    torque = next(check for check in document["checks"] if check["name"] == "torque-accelerating")
    assert torque["verdict"] == "fails"
    assert torque["value"] > torque["limit"] > 0 > torque["margin"]


def test_a_failing_limit_is_told_with_what_to_change(circumstep: Circumstep, tmp_path: Path) -> None:
    ended = circumstep("limits", hasty_job(tmp_path, circumstep))
    assert ended.status == 1
    told = " ".join(ended.out.split())
    assert told.startswith("Verdict: fails. Nothing may turn: torque-accelerating, ")
    assert "torque-accelerating fails: Lower index.acceleration, lower index.speed, raise driver.current, or" in told


def test_run_and_demo_refuse_a_job_whose_limits_fail_before_a_port_is_looked_for(
    circumstep: Circumstep, tmp_path: Path
) -> None:
    job = hasty_job(tmp_path, circumstep)
    for command in (("run", job), ("demo", job)):
        ended = circumstep(*command)
        assert ended.status == 1
        assert ended.err.startswith("error: the plan exceeds its limits: torque-accelerating: ")
    assert not (tmp_path / "runs").exists()


def test_tables_name_every_segment_and_every_limit(circumstep: Circumstep) -> None:
    segments = circumstep("segments", "shaft-scale", "--details")
    assert segments.status == 0
    told = " ".join(segments.out.split())
    assert "6 segments (fewest equal segments)" in told
    assert "at most 22.96 deg is allowed, by depth of focus" in told
    assert "If the part diameter entered is too large, the part turns too little and marks overlap" in told
    assert {row[0] for row in map(str.split, segments.out.splitlines()) if row} >= set("123456")
    limits = circumstep("limits", "shaft-scale", "--details")
    assert limits.status == 0
    assert "An estimate from the data given: prove it on the machine, first without the laser." in " ".join(
        limits.out.split()
    )
    checks = {check["name"] for check in json.loads(circumstep("limits", "shaft-scale", "--json").out)["checks"]}
    assert {row[0] for row in map(str.split, limits.out.splitlines()) if row} >= checks
    moves = circumstep("moves", "shaft-scale")
    assert [line.split()[1] for line in moves.out.splitlines() if line.split()[0].isdigit()] == [
        "0", "611", "1222", "1833", "2445", "3056"
    ]  # fmt: skip


def test_true_sizes_are_those_of_the_options(circumstep: Circumstep) -> None:
    thin = circumstep("segments", "shaft-scale", "--true-diameter", "45 mm", "--json")
    wanted = plan_layout(load_job("shaft-scale"), true=TrueSizes(part_diameter=0.045))
    assert json.loads(thin.out) == json_document(segments_document(wanted))


def test_a_true_roller_shows_at_the_seams_of_a_part_on_rollers(circumstep: Circumstep) -> None:
    document = json.loads(circumstep("segments", "bottle-band", "--true-roller", "25.908 mm", "--json").out)
    arc = document["segments"][0]["arc_mm"]
    step_mm = math.pi * 80 * 127 / 2560000
    for seam in document["seams"][:-1]:
        assert seam["predicted_gap_mm"] == pytest.approx(0.02 * arc, abs=1.03 * step_mm)
    assert document["closing_seam"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--true-diameter", "50"), "--true-diameter: '50' has no unit"),
        (("--true-diameter", "50 kg"), "--true-diameter: 'kg' is not a unit of length"),
        (("--true-diameter", "0 mm"), "--true-diameter: '0 mm' must be greater than zero"),
        (("--true-roller", "20 mm"), "--true-roller: machine 'belt-chuck' has no rollers"),
    ],
    ids=["bare-number", "wrong-unit", "zero", "no-rollers"],
)
def test_a_true_size_that_cannot_be_is_refused(circumstep: Circumstep, options: tuple[str, ...], words: str) -> None:
    ended = circumstep("segments", "shaft-scale", *options)
    assert (ended.status, ended.out) == (2, "")
    assert ended.err.startswith(f"error: {words}")


@pytest.mark.parametrize("job", JOBS)
def test_rs274_read_by_pygcode_gives_the_planned_angles(circumstep: Circumstep, job: str) -> None:
    # Outside check: pygcode's reading of the words. Its angle is the coordinate over 360 units of the drive's shaft.
    ended = circumstep("moves", job, "--format", "rs274")
    assert (ended.status, ended.err) == (0, "")
    document = json.loads(circumstep("moves", job, "--json").out)
    microsteps_per_shaft_turn = {"shaft-scale": 9600, "heavy-shaft": 48000, "sleeve-label": 6400, "bottle-band": 6400}
    per_unit = round(microsteps_per_shaft_turn[job] / 360, 3)
    letter = "Y" if job == "bottle-band" else "A"
    reached = []
    for text in ended.out.splitlines():
        line = pygcode.Line(text)
        words = {word.letter: word.value for code in line.block.gcodes for word in code.params.values()}
        if line.comment is not None and line.comment.text.startswith("segment "):
            reached.append(round(words[letter] * per_unit, 2))
    assert reached == pytest.approx([move["target_microstep"] for move in document["moves"]], abs=0.05)


def test_a_program_has_one_stop_for_each_pass_and_ends(circumstep: Circumstep) -> None:
    lines = circumstep("moves", "shaft-scale", "--format", "rs274").out.splitlines()
    assert sum(line.startswith("M0 (mark") for line in lines) == 12
    assert lines[-1] == "M2"
    assert max(map(len, lines)) < 80


@pytest.mark.parametrize("format", ["rs274", "csv", "json"])
def test_output_writes_the_same_bytes_to_a_file(circumstep: Circumstep, tmp_path: Path, format: str) -> None:
    shown = circumstep("moves", "shaft-scale", "--format", format)
    saved = circumstep("moves", "shaft-scale", "--format", format, "--output", str(tmp_path / "moves.out"))
    assert (saved.status, saved.out, saved.err) == (0, "", "")
    assert (tmp_path / "moves.out").read_bytes() == shown.out.encode()


def test_json_option_and_json_format_print_the_same_and_both_can_be_saved(
    circumstep: Circumstep, tmp_path: Path
) -> None:
    by_option = circumstep("moves", "shaft-scale", "--json")
    assert by_option.out == circumstep("moves", "shaft-scale", "--format", "json").out
    assert circumstep("moves", "shaft-scale", "--json", "--output", str(tmp_path / "m.json")).out == ""
    assert (tmp_path / "m.json").read_text() == by_option.out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--output", "x.txt"), "--output: the table is only shown, never saved. Add --format"),
        (("--format", "csv", "--json"), "--json and --format csv contradict each other"),
        (("--format", "csv", "--output", "none/x.csv"), "none/x.csv: cannot be written (No such file or directory)"),
    ],
    ids=["table-to-a-file", "two-formats", "no-such-folder"],
)
def test_moves_refuses_what_it_could_only_half_do(
    circumstep: Circumstep, options: tuple[str, ...], words: str, tmp_path: Path
) -> None:
    ended = circumstep("moves", "shaft-scale", *options)
    assert (ended.status, ended.out) == (2, "")
    assert ended.err.startswith(f"error: {words}")
    assert not (tmp_path / "x.txt").exists()


def test_a_job_of_the_users_own_folder_is_found_by_its_name(circumstep: Circumstep, tmp_path: Path) -> None:
    assert circumstep("profile", "new", "job", "mine", "--from", "shaft-scale").status == 0
    assert circumstep("segments", "mine", "--json").out == circumstep("segments", "shaft-scale", "--json").out


def test_a_motor_s_label_is_enough_for_segments_and_limits_say_what_they_assume(
    circumstep: Circumstep, tmp_path: Path
) -> None:
    motor = tmp_path / "bare.toml"
    motor.write_text(
        'version = 1\nname = "bare"\nfull_steps_per_revolution = 200\nrated_current = "2.8 A"\n'
        'holding_torque = "1.1 N*m"\nrotor_inertia = "270 g*cm^2"\n'
    )
    profiles = Path(__file__).resolve().parents[2] / "profiles"
    machine = (profiles / "machines" / "belt-chuck.toml").read_text()
    (tmp_path / "machine.toml").write_text(machine.replace('"nema23-short"', '"bare.toml"'))
    job = tmp_path / "job.toml"
    job.write_text((profiles / "jobs" / "shaft-scale.toml").read_text().replace('"belt-chuck"', '"machine.toml"'))
    segments = circumstep("segments", str(job), "--json")
    assert (segments.status, len(json.loads(segments.out)["segments"])) == (0, 6)
    assert re.search(r"^Estimated, \d+ data assumed: ", circumstep("limits", str(job)).out, re.MULTILINE)
    limits = circumstep("limits", str(job), "--details")
    assert limits.status == 0
    assert "motor.inductance  " in limits.out[limits.out.index("Not stated") :]


def test_the_card_for_the_laser_of_one_part_and_of_a_table_of_parts(circumstep: Circumstep, tmp_path: Path) -> None:
    card = circumstep("segments", "shaft-scale", "--card")
    assert card.status == 0
    assert "Width of each strip: 10.000 mm" in card.out
    (tmp_path / "parts.csv").write_text("serial,diameter mm\nA-1,50\nA-2,0.9\n", encoding="utf-8")
    batch = circumstep("segments", "shaft-scale", "--card", "--parts", "parts.csv")
    assert batch.status == 1  # the second is too thin
    assert "A-1" in batch.out
    assert max(map(len, batch.out.splitlines())) <= 80


def test_the_schema_of_the_state_is_printed_as_those_of_the_files_are(circumstep: Circumstep) -> None:
    printed = json.loads(circumstep("schema", "state").out)
    assert printed["properties"]["still"]["type"] == "boolean"
    wrong = circumstep("schema", "stat")
    assert wrong.status == 2
    assert "no file kind 'stat'" in wrong.err
