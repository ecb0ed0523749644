"""`commission`: a procedure on a simulated controller, its record, and the machine's file with what was found."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from firmware_host.system.processes import split_command
from tests.cli.command import call
from tests.cli.conftest import Circumstep
from tests.cli.test_run_on_simulator import EACH_LINE, simulated


@pytest.fixture
def machine(circumstep: Circumstep, tmp_path: Path) -> Path:
    path = tmp_path / "my machine.toml"
    path.write_text(circumstep("profile", "show", "machine", "belt-chuck").out, encoding="utf-8")
    return path


def readings(*texts: str) -> list[str]:
    return [word for text in texts for word in ("--reading", text)]


@pytest.mark.slow
def test_a_machine_is_measured_written_and_reported(machine: Path) -> None:
    with simulated() as port:
        at = (str(machine), "--port", port, "--write-settings")
        way = call("commission", "measure", "direction", *at, *readings("counter"), "--write")
        lags = [f"{reading} deg" for reading in (0.0, 0.31, 0.02, 0.30, 0.01, 0.33)]
        lost = call("commission", "measure", "lost-motion", *at, "--repeats", "3", "--angle-to", "0.05 deg",
                    *readings(*lags), "--write")  # fmt: skip
    assert (way.status, lost.status) == (0, 0), way.err + lost.err
    assert "It turns counter-clockwise; the machine file says nothing." in way.out
    assert "You need: eyes on the part, from its free end." in way.err
    assert "Written: axis.turns = counter-clockwise, before nothing." in way.out
    assert lost.out.splitlines()[0].startswith("Lost motion at the part: 0.303 ± 0.0")
    text = machine.read_text(encoding="utf-8")
    assert 'turns = "counter-clockwise" # measured 20' in text
    assert 'lost_motion = "0.303' in text
    history = call("profile", "show", "machine", str(machine), "--history").out.replace("\n  ", " ").splitlines()
    assert [line.partition(" = ")[0] for line in history] == ["gearing.0.lost_motion", "axis.turns"]
    assert "before 0.02 deg" in history[0]
    assert sorted(path.name[:18] for path in machine.parent.glob("my machine.before*")) == ["my machine.before-"] * 2
    report = json.loads(call("commission", "report", str(machine), "--json").out)
    assert report["findings"][1]["verdict"] == "change"
    assert report["findings"][1]["value"] == pytest.approx(0.3033, abs=1e-3)
    assert [each["quantity"] for each in report["findings"]] == ["direction", "lost-motion"]
    assert [each["key"] for each in report["written"]] == ["axis.turns", "gearing.0.lost_motion"]
    assert len(report["readings"]) == 1 + 6


def test_the_report_is_read_without_a_controller(machine: Path) -> None:
    told = call("commission", "report", str(machine))
    assert told.status != 0
    assert "belt-reduced-chuck" in told.err


def test_the_list_says_what_is_needed(circumstep: Circumstep) -> None:
    told = circumstep("commission", "list")
    assert told.status == 0
    assert "lost-motion" in told.out
    needs = {
        each["procedure"]: each["needs"]
        for each in json.loads(circumstep("commission", "list", "--json").out)["procedures"]
    }
    assert "indicator" in needs["run-out"]


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        pytest.param(("ratoi", "belt-chuck"), "Did you mean 'ratio'?", id="no such procedure"),
        pytest.param(("ratio", "no-such-machine"), "no-such-machine", id="no such machine"),
        pytest.param(("ramp", "shaft-scale"), "Allow that: --write-settings", id="settings that may not be written"),
        pytest.param(("ratio", "belt-chuck", "--read-to", "0 mm"), "--read-to", id="read to nothing"),
    ],
)
def test_what_can_not_be_measured_is_refused(circumstep: Circumstep, words: tuple[str, ...], problem: str) -> None:
    told = circumstep("commission", "measure", *words)
    assert told.status == 2
    assert problem in told.err


@pytest.mark.slow
def test_too_few_readings_and_a_reading_that_is_none_end_it_and_what_was_read_is_kept(machine: Path) -> None:
    with simulated() as port:
        at = (str(machine), "--port", port, "--write-settings", "--repeats", "2", "--angle-to", "0.05 deg")
        assert call("jog", str(machine), "--port", port, "--write-settings", "--by", "40 deg").status == 0
        few = call("commission", "measure", "lost-motion", *at, *readings("0 deg", "0.3 deg"))
        wrong = call("commission", "measure", "lost-motion", *at, *readings("0.1 kg"))
        rest = call("commission", "measure", "lost-motion", *at, *readings("0 deg", "0.3 deg"))
    assert (few.status, wrong.status, rest.status) == (2, 2, 0), rest.err
    assert "2 readings are too few" in few.err
    assert "0.1 kg" in wrong.err
    assert rest.err.count("the reading, come from") == 2
    assert "Nothing was written: --write puts it into the machine's file." in rest.err


def test_the_gate_of_a_job_is_timed_with_the_laser_off(tmp_path: Path) -> None:
    job = tmp_path / "timed.toml"
    text = call("profile", "show", "job", "shaft-scale").out
    job.write_text(text + '\n[gate]\nkind = "timed"\nduration = "0.2 s"\n', encoding="utf-8")
    with simulated() as port:
        at = (str(job), "--port", port, "--write-settings", "--repeats", "2", "--json")
        on = call("commission", "measure", "gate", *at, *readings("on"))
        off = call("commission", "measure", "gate", *at, *readings("off"))
    assert on.status == 2
    assert "the laser is not off: the gate stays closed" in on.err
    (found,) = json.loads(off.out)["findings"]
    assert (found["quantity"], found["unit"]) == ("gate-answer", "s")
    assert found["value"] + found["within"] >= 0.2


def test_a_gate_that_starts_a_program_needs_its_name(tmp_path: Path) -> None:
    job = tmp_path / "command.toml"
    text = call("profile", "show", "job", "shaft-scale").out
    job.write_text(text + '\n[gate]\nkind = "command"\ntimeout = "5 s"\n', encoding="utf-8")
    told = call("commission", "measure", "gate", str(job), "--port", "socket://127.0.0.1:9", *readings("off"))
    assert told.status == 2
    assert "--gate-program" in told.err


@EACH_LINE
def test_a_board_as_it_was_delivered_is_told_what_to_write_and_fits_then(kind: str) -> None:
    with simulated(kind, "--delivered") as port:
        at = ("shaft-scale", "--port", port, "--repeats", "2")
        before = call("commission", "measure", "link", *at, *readings("holds"))
        (printed,) = (line.strip() for line in before.out.splitlines() if "settings write" in line)
        written = call(*split_command(printed.partition(": circumstep ")[2]))
        after = call("commission", "measure", "link", *at, *readings("holds"), "--json")
    assert "They do not fit: steps per unit" in " ".join(before.out.split())
    assert written.status == 0, written.err
    found = {each["quantity"]: each for each in json.loads(after.out)["findings"]}
    assert found["link-settings"]["verdict"] == "as stated"
    assert found["link-latency"]["unit"] == "ms"
    assert 0 < found["link-latency"]["value"] < 1000
