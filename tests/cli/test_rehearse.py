"""`run --rehearse`: the very run in virtual time, the motor's own counter against the plan; nothing real is touched."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import firmware_host as fh
from firmware_host.cli.turn.rehearse import rehearsal_of
from firmware_host.cli.turn.simulated_run import REHEARSED_PASS_S, rehearse
from firmware_host.controller.port import serial_port
from firmware_host.model import Machine, Setup
from firmware_host.planning.job_time import job_time
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.runs.rehearsal import Rehearsal, rehearsal_document
from firmware_host.station.passes.loop import PassLoop
from firmware_host.station.runs.pass_times import PassTime, PassTimeFrom
from firmware_host.station.settings.known_scale import KnownScales, state_folder
from firmware_host.station.stop_request import StopAskedError
from tests.cli.command import call
from tests.support.station_bench import StationBench, quick_disk, small_setup
from tests.support.three_segments import JOB


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture(autouse=True)
def _no_port(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever opens a port fails, and so does what listens at one."""

    def refused(*given: Any, **options: Any) -> Any:
        raise AssertionError("a port was opened")

    monkeypatch.setattr(serial_port.serial, "serial_for_url", refused)


@pytest.fixture
def job(tmp_path: Path) -> str:
    path = tmp_path / "my job.toml"
    path.write_text(JOB, encoding="utf-8")
    return str(path)


def files_below(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def numbered(setup: Setup) -> Setup:
    """The same machine with a controller of the other mechanism."""
    document = setup.machine.model_dump(mode="json", exclude_none=True)
    link = document.get("link", {}) | {"dialect": "numbered-line"}
    return replace(setup, machine=Machine.model_validate(document | {"link": link}))


@pytest.mark.some(3)
@pytest.mark.parametrize("dialect", ["status-query", "numbered-line"])
@pytest.mark.parametrize("name", ["bottle-band", "heavy-shaft", "sleeve-label", "shaft-scale"])
def test_the_motors_own_counter_is_the_plans_and_the_time_is_the_plans_and_a_little(
    name: str, dialect: str, tmp_path: Path
) -> None:
    setup = fh.load_job(name)
    setup = numbered(setup) if dialect == "numbered-line" else setup
    plan = fh.plan_job(setup)
    done = rehearse(setup, plan, tmp_path)
    passes = plan.segments.count * setup.job.mark.passes
    assert dict(done.counters) == dict(enumerate(plan.route.segment_targets().tolist(), 1))
    assert (done.record.outcome, done.record.done, done.off_plan) == ("done", passes, 0)
    assert done.record.marking is False  # nobody can take its passes for marked ones
    time = job_time(setup, plan)
    turned_s = done.lasted_s - passes * REHEARSED_PASS_S
    assert turned_s >= time.turning_s + time.settling_s
    if not setup.machine.axis.home_switch:  # what is more: up to 0.2 s for the looks around each move and each pass
        assert turned_s <= time.turning_s + time.settling_s + 0.2 * (time.moves + passes + 2)


def test_only_the_segments_asked_for_are_rehearsed(job: str) -> None:
    ended = call("run", job, "--rehearse", "--only", "2-3", "--json")
    assert ended.status == 0, ended.err
    told = json.loads(ended.out)
    assert (told["passes"], told["passes_done"], told["off_plan"]) == (2, 2, 0)
    assert [(entry["segment"], entry["planned_microstep"]) for entry in told["run"]["passes"]] == [(2, 611), (3, 1222)]
    assert told["planned_turning_and_settling_s"] is None  # the plan's time is that of all segments


def test_nothing_is_opened_and_neither_runs_nor_the_ports_last_run_are_touched(job: str, tmp_path: Path) -> None:
    KnownScales(state_folder()).remember_run("socket://127.0.0.1:9", "A", tmp_path / "gone")
    before = files_below(tmp_path)
    ended = call("run", job, "--rehearse", "--port", "socket://127.0.0.1:9")
    assert ended.status == 0, ended.err
    assert files_below(tmp_path) == before
    lines = ended.out.splitlines()
    assert lines[0] == "Rehearsed on a simulated controller: no port was opened, nothing real moved."
    assert lines[1] == "done: 3 of 3 passes, each a pause of 0.5 s in place of the gate."
    assert lines[2] == "The motor's step counter was the plan's at 3 of 3 passes."
    assert "- press Enter when a pass is marked, 3 times" in lines
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80


def test_it_needs_no_port_at_all_and_the_marking_time_is_not_made_up(job: str) -> None:
    ended = call("run", job, "--rehearse", "--json")
    told = json.loads(ended.out)
    assert (told["pass_s"], told["whole_s"], told["pass_time_from"]) == (None, None, "unknown")
    assert told["asked"][0] == "turn the part's start mark under the lens beforehand: the zero is where it stands"


def test_after_a_run_that_was_stopped_it_says_that_the_zero_will_be_asked_for(job: str, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.at("gate-open", lambda: bench.stop.ask("by the test"), rests=2)
    with pytest.raises(fh.RunStoppedError, match="by the test"):
        bench.run()
    KnownScales(state_folder()).remember_run("socket://127.0.0.1:9", "A", bench.folder.path)
    asked = json.loads(call("run", job, "--rehearse", "--port", "socket://127.0.0.1:9", "--json").out)["asked"]
    assert asked[0] == "say where the zero is: what was done at this port before leaves it open"
    elsewhere = json.loads(call("run", job, "--rehearse", "--port", "socket://127.0.0.1:8", "--json").out)["asked"]
    assert elsewhere[0].startswith("turn the part's start mark")


def test_a_limit_that_fails_stops_a_rehearsal_as_it_stops_the_run(tmp_path: Path) -> None:
    path = tmp_path / "quick.toml"
    path.write_text(f'{JOB}[index]\nacceleration = "90000 deg/s^2"\nspeed = "2000 deg/s"\n', encoding="utf-8")
    refused, real = (call("run", str(path), *more) for more in (("--rehearse",), ("--port", "socket://127.0.0.1:9")))
    assert (refused.status, refused.out) == (1, "")
    assert re.sub(r"\s+", " ", refused.err) == re.sub(r"\s+", " ", real.err)


def rehearsed(setup: Setup, home: Path, **changed: Any) -> Rehearsal:
    plan = fh.plan_job(setup)
    return replace(rehearsal_of(setup, plan, rehearse(setup, plan, home), whole=True, zero_open=False), **changed)


def test_the_time_of_the_real_run_is_what_was_turned_and_every_pass_as_long_as_it_takes(tmp_path: Path) -> None:
    shown = rehearsed(small_setup(passes=4), tmp_path, lasted_s=30.0)
    of_pass = PassTime(PassTimeFrom.GIVEN, 10.0)
    values = json_document(rehearsal_document(shown, of_pass, ""))
    assert values["turning_and_settling_s"] == pytest.approx(30.0 - 12 * 0.5)
    assert values["whole_s"] == pytest.approx(24.0 + 12 * 10.0)


def test_a_motor_that_stood_elsewhere_than_planned_is_told_and_is_not_as_planned(tmp_path: Path) -> None:
    shown = rehearsed(small_setup(passes=1), tmp_path)
    assert shown.as_planned
    off = replace(shown, counters={**shown.counters, 2: shown.counters[2] + 1})
    values = json_document(rehearsal_document(off, PassTime(PassTimeFrom.UNKNOWN), ""))
    assert (values["as_planned"], values["off_plan"]) == (False, 1)


@pytest.mark.parametrize(
    ("gate", "words"),
    [
        pytest.param({"kind": "command", "timeout": "1 min"}, "the gate's program is started 3 times", id="command"),
        pytest.param({"kind": "timed", "duration": "4 s"}, "the marking side is done in time, 3 times", id="timed"),
        pytest.param({"kind": "of-a-plug-in"}, "serve the gate, of-a-plug-in, 3 times", id="a plug-in's"),
    ],
)
def test_what_is_asked_goes_by_the_gate_of_the_job_which_is_not_used(
    gate: dict[str, str], words: str, tmp_path: Path
) -> None:
    tables = small_setup(passes=1).job.model_dump(mode="json", exclude_none=True) | {"gate": gate}
    setup = small_setup(passes=1)
    setup = replace(setup, job=type(setup.job).model_validate(tables))
    values = json_document(rehearsal_document(rehearsed(setup, tmp_path), PassTime(PassTimeFrom.UNKNOWN), ""))
    assert words in values["asked"][1]


def test_a_rehearsal_that_is_stopped_leaves_nothing_to_resume(job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(loop: PassLoop) -> None:
        raise StopAskedError("Ctrl-C")

    monkeypatch.setattr(PassLoop, "check_stop", interrupted)
    ended = call("run", job, "--rehearse")
    assert ended.status == 4
    assert "stopped (Ctrl-C) while rehearsing; nothing was moved" in ended.err
    assert "resume" not in ended.err


def test_a_batch_is_not_rehearsed_and_above_all_not_run_instead(job: str) -> None:
    ended = call("run", job, "--rehearse", "--parts", "3")
    assert ended.status == 2
    assert "--rehearse: a batch is not rehearsed. Leave out --parts: its job is rehearsed" in ended.err
