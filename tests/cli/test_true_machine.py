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
