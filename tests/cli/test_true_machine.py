"""`controller simulate --true-machine`: what would be read at each standstill is printed, and kept for a script."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.command import Program
from tests.cli.conftest import Circumstep


def test_what_is_read_at_each_standstill_is_printed_and_kept(circumstep: Circumstep, home: Path) -> None:
    words = ("--true-machine", "worn-belt-chuck", "--readings", "read here.jsonl", "--clock", "20")
    with Program("controller", "simulate", *words) as board:
        port = board.wait_for("out", "\n").strip()
        turned = circumstep("jog", "belt-chuck", "--port", port, "--by", "90 deg", "--write-settings")
        assert turned.status == 0, turned.err
        board.wait_for("out", "the indicator reads ")
    readings = [json.loads(line) for line in Path("read here.jsonl").read_text("utf-8").splitlines()]
    last = readings[-1]
    assert last["asked_turns"] == pytest.approx(0.25, abs=0.01)
    assert last["line_off"] == pytest.approx(-0.25 * 6.2832 / 61, abs=0.02)
    assert len(last["swing"]) == len(last["pushed"]) == 192
    assert last["pushed"][0] == pytest.approx(last["pushed_by"], rel=0.05)
    assert min(last["pushed"]) < -0.2 * last["pushed_by"]


def test_readings_without_a_true_machine_are_refused(circumstep: Circumstep, home: Path) -> None:
    refused = circumstep("controller", "simulate", "--readings", "r.jsonl")
    assert refused.status == 2
    assert "Name --true-machine" in refused.err


def test_the_files_schema_is_printed(circumstep: Circumstep, home: Path) -> None:
    shown = circumstep("schema", "true-machine")
    assert shown.status == 0, shown.err
    assert json.loads(shown.out)["properties"]["train"]


def test_one_of_ones_own_is_a_copy_that_is_no_machine_and_no_job_by_its_name(
    circumstep: Circumstep, home: Path
) -> None:
    """It has a motor and a part as those have; a name in the current folder is found for what it is."""
    made = circumstep("profile", "new", "true-machine", "mine.toml")
    assert (made.status, made.out) == (0, "mine.toml\n")
    assert "circumstep profile check true-machine mine.toml" in made.err
    mine = Path("mine.toml")
    assert mine.read_text("utf-8").startswith("#:schema ./true-machine.schema.json\n")
    assert "drift_at_power_off" in json.loads(Path("true-machine.schema.json").read_text("utf-8"))["properties"]
    listed = json.loads(circumstep("profile", "list", "--json").out)
    assert [each["kind"] for each in listed if each["name"] == "mine"] == ["true-machine"]
    assert circumstep("profile", "check", "true-machine", "mine").status == 0
    assert circumstep("limits", "mine").status == 2
    mine.write_text(mine.read_text("utf-8").replace('"1500 N*m/rad"', '"1500 N*m"'), "utf-8")
    spoilt = circumstep("profile", "check", "true-machine", "mine")
    assert spoilt.status == 2
    assert "mine.toml:" in spoilt.err
    assert "train.stiffness" in spoilt.err


def test_nothing_is_asked_about_one(circumstep: Circumstep, home: Path) -> None:
    refused = circumstep("profile", "new", "true-machine", "mine.toml", "--usual")
    assert (refused.status, Path("mine.toml").exists()) == (2, False)
    assert refused.err == "error: --usual: a copy asks nothing. Leave out --answer and --usual\n"


def test_a_name_that_there_is_not_names_the_nearest(circumstep: Circumstep, home: Path) -> None:
    refused = circumstep("controller", "simulate", "--machine", "belt-chuck", "--true-machine", "worn-belt-chunk")
    assert refused.status == 2
    assert "no true-machine profile has this name. Did you mean 'worn-belt-chuck'?" in refused.err
