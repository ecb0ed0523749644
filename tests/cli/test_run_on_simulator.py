"""`run`, `resume` and `controller ...` as processes, on a controller that `controller simulate` serves."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from firmware_host.system.console import command_line
from tests.cli.command import Program, call, call_marking
from tests.support.lines import EACH_LINE
from tests.support.three_segments import JOB


@pytest.fixture
def job(tmp_path: Path) -> str:
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    return str(path)


@contextmanager
def simulated(kind: str = "socket", *options: str) -> Iterator[str]:
    """A simulated controller in a process of its own; gives the port."""
    with Program("controller", "simulate", "--kind", kind, "--clock", "20", *options) as board:
        yield board.wait_for("out", "\n").strip()
        board.interrupt()
        assert board.end().status == 0


def stored(port: str) -> dict[str, object]:
    facts: dict[str, object] = json.loads(call("controller", "show", "--port", port, "--json").out)
    return facts


@EACH_LINE
def test_a_job_runs_on_a_served_controller(kind: str, job: str, tmp_path: Path) -> None:
    with simulated(kind) as port:
        ended = call("run", job, "--port", port, "--without-marking", "--json")
    assert ended.status == 0, ended.err
    record = json.loads(ended.out)
    # By hand: 9600 microsteps a turn, 10 mm of 50 mm * pi = 611.15 microsteps.
    assert [entry["planned_microstep"] for entry in record["passes"]] == [0, 611, 1222]
    assert all(entry["status"] == "done" for entry in record["passes"])
    assert all(abs(entry["reported_microstep"] - entry["planned_microstep"]) < 0.5 for entry in record["passes"])
    (folder,) = (tmp_path / "runs").iterdir()
    assert json.loads((folder / "record.json").read_text()) == record
    assert "3 of 3 passes turned without marking" in ended.err
    assert "STANDSTILL, without marking: segment 3 of 3, pass 1 of 1" in ended.err


def test_an_interrupted_run_ends_with_status_4_and_resume_finishes_it(job: str, tmp_path: Path) -> None:
    with simulated() as port:
        with Program("run", job, "--port", port, "--state", "state.json", "--state", "tcp:0") as run:
            run.wait_for("err", "the state of the run is told at 127.0.0.1:")
            run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
            run.say("\n")
            run.wait_for("err", "STANDSTILL: mark segment 2 of 3")
            run.interrupt()
            stopped = run.end()
        assert stopped.status == 4
        told = re.search(
            r"error: stopped \(Ctrl-C\); the run in runs/\S+ can be resumed\n"
            r"  To answer beforehand, .*\n  Resume with: circumstep resume (\S+)\n$",
            stopped.err,
        )
        assert told is not None
        assert "GATE CLOSED: do not mark." in stopped.err
        left = json.loads((tmp_path / "state.json").read_text("utf-8"))
        assert (left["outcome"], left["still"], left["done"], left["of"]) == ("stopped", False, 1, 3)
        record = json.loads((tmp_path / told[1] / "record.json").read_text())
        assert record["outcome"] == "stopped"
        assert [entry["status"] for entry in record["passes"]] == ["done", "unknown", "to do"]

        asked = call("resume", told[1])
        assert asked.status == 4
        assert "nobody can answer" in asked.err

        dry = call("resume", told[1], "--without-marking")
        assert dry.status == 2
        assert "it marks: a pass turned to without marking would count as marked" in dry.err

        resumed = call_marking("resume", told[1], "--assume", "not-done", "--json", "--state", "state.json")
        assert resumed.status == 0, resumed.err
        assert re.findall(r"STANDSTILL: mark segment (\d)", resumed.err) == ["2", "3"]
        left = json.loads((tmp_path / "state.json").read_text("utf-8"))
        assert (left["outcome"], left["done"], left["of"]) == ("done", 3, 3)
        assert [entry["status"] for entry in json.loads(resumed.out)["passes"]] == ["done"] * 3

        again = call("resume", told[1])
        assert again.status == 2
        assert "the run is done: nothing is left" in again.err


def test_a_pass_that_was_finished_is_not_marked_again_on_resuming(job: str) -> None:
    with simulated() as port:
        with Program("run", job, "--port", port, "--without-marking") as run:
            run.wait_for("err", "2 of 3 passes turned without marking")
            run.interrupt()
            stopped = run.end()
        assert stopped.status == 4
        told = re.search(r"\n  Resume with: circumstep (resume (\S+) --without-marking)\n$", stopped.err)
        assert told is not None
        marking = call("resume", told[2], "--assume", "done")
        assert marking.status == 2
        assert "it was begun without marking: what it has turned to was never marked" in marking.err
        assert "Resume it without marking, or run the job anew to mark" in marking.err
        assert marking.err.endswith(f"\n  Resume with: circumstep {told[1]}\n")
        resumed = call(*told[1].split(), "--assume", "done", "--json")
    assert resumed.status == 0, resumed.err
    assert json.loads(resumed.out)["marking"] is False
    assert "3 of 3 passes turned without marking" in resumed.err
    assert "marked" not in call("runs", "show", told[2]).out
    assert call("runs", "list").out.rstrip().endswith("3/3\n  marking: without marking")
    assert re.findall(r"STANDSTILL, without marking: segment (\d)", resumed.err) == ["3"]


def test_resuming_at_machine_zero_asks_for_proof_of_the_position(job: str) -> None:
    with simulated() as port:
        with Program("run", job, "--port", port) as run:
            run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
            run.interrupt()
            told = re.search(r"\n  Resume with: circumstep resume (\S+) --zero here\n$", run.end().err)
        assert told is not None
        folder = told[1]
        unproved = call("resume", folder, "--assume", "not-done")
        assert unproved.status == 3
        assert "the part's position cannot be proved" in unproved.err
        assert unproved.err.endswith(f"\n  Resume with: circumstep resume {folder} --zero here\n")
        proved = call_marking("resume", folder, "--assume", "not-done", "--zero", "set-anew")
        assert proved.status == 0, proved.err


def test_the_operator_gate_takes_enter_for_each_pass_and_s_for_a_stop(job: str) -> None:
    with simulated() as port:
        with Program("run", job, "--port", port) as run:
            run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
            run.say("\n")
            run.wait_for("err", "STANDSTILL: mark segment 2 of 3")
            run.say("s\n")
            ended = run.end()
        assert ended.status == 4
        assert "error: stopped (by the operator); the run in runs/" in ended.err
        assert re.search(r" can be resumed\n  To answer .*\n  Resume with: circumstep resume ", ended.err)


def test_settings_that_do_not_fit_stop_the_run_and_the_named_command_mends_it(job: str, tmp_path: Path) -> None:
    with simulated("socket", "--delivered") as port:
        refused = call("run", job, "--port", port, "--without-marking")
        assert refused.status == 1
        assert "the controller's settings do not fit the plan: steps per unit" in refused.err
        fix = f"circumstep controller settings write {job} --port {port}"
        words = "Fix: write the settings that the plan needs\n  Write the settings with: "
        assert f"{words}{fix}\n  Resume with: circumstep resume " in refused.err
        before = stored(port)
        assert (before["port"], before["state"], before["axis"]) == (port, "ready", "A")
        assert before["steps_per_unit"] == "100.000"
        assert before["released_at_rest_after_ms"] is None or isinstance(before["released_at_rest_after_ms"], int)

        compared = call("controller", "settings", "compare", job, "--port", port)
        assert compared.status == 1
        assert "steps per unit" in compared.out
        assert fix in compared.out

        written = call(*fix.split()[1:])
        assert written.status == 0, written.err
        # By hand: 9600 microsteps a turn over 360 deg, three decimals.
        assert stored(port)["steps_per_unit"] == "26.667"
        fitting = call("controller", "settings", "compare", job, "--port", port, "--json")
        assert (fitting.status, json.loads(fitting.out)) == (0, [])
        assert call("run", job, "--port", port, "--without-marking").status == 0

        backup = re.search(r"settings restore (\S+\.json)\n", written.err)
        assert backup is not None
        assert Path(backup[1]).is_relative_to(tmp_path)
        assert call("controller", "settings", "restore", backup[1], "--port", port).status == 0
        after = stored(port)
    passing = ("position_units", "board")  # where it stands, how long it takes to answer
    assert {key: after[key] for key in after if key not in passing} == {
        key: before[key] for key in before if key not in passing
    }


def test_a_second_owner_of_the_port_is_refused_and_the_first_goes_on(job: str) -> None:
    with simulated() as port, Program("run", job, "--port", port) as run:
        run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
        second = call("controller", "show", "--port", port)
        assert second.status == 3
        assert second.err.startswith(f"error: port {port}: in use by process ")
        for segment in (2, 3):
            run.say("\n")
            run.wait_for("err", f"STANDSTILL: mark segment {segment} of 3")
        run.say("\n")
        assert run.end().status == 0


def test_a_run_without_a_port_is_bad_usage(job: str, tmp_path: Path) -> None:
    ended = call("run", job)
    assert (ended.status, ended.out) == (2, "")
    assert ended.err.startswith(
        "error: no port is named. Name the controller's port, or keep a station for this machine with its port"
    )
    assert ended.err.endswith("\n  Find the controller with: circumstep controller find\n")
    assert not (tmp_path / "runs").exists()


@pytest.mark.parametrize("port", ["none", "socket://127.0.0.1:1"], ids=["no-device", "nobody-listens"])
def test_a_port_that_is_not_there_is_a_link_fault(job: str, port: str, tmp_path: Path) -> None:
    url = port if "://" in port else str(tmp_path / port)
    for command in (("run", job), ("controller", "show"), ("controller", "settings", "compare", job)):
        ended = call(*command, "--port", url)
        assert (ended.status, ended.out) == (3, "")
        assert ended.err.startswith(f"error: port {url}: ")
        assert len(ended.err.splitlines()) <= 2


def test_a_controller_that_goes_away_in_the_middle_ends_the_run_with_status_3(job: str) -> None:
    with Program("controller", "simulate", "--kind", "socket", "--clock", "20") as board:
        port = board.wait_for("out", "\n").strip()
        with Program("run", job, "--port", port) as run:
            run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
            board.interrupt()
            assert board.end().status == 0
            ended = run.end()
    assert ended.status == 3
    assert "GATE CLOSED: do not mark." in ended.err
    assert ended.err.splitlines()[-3].startswith("error: port ")


def test_a_command_gate_without_a_program_is_refused_and_with_one_runs_it_for_each_pass(
    job: str, tmp_path: Path
) -> None:
    Path(job).write_text(JOB + '[gate]\nkind = "command"\ntimeout = "20 s"\n', encoding="utf-8")
    marks = tmp_path / "marks.txt"
    code = (
        "import os, sys; told = os.environ;"
        "open(sys.argv[1], 'a').write(told['CIRCUMSTEP_SEGMENT'] + '/' + told['CIRCUMSTEP_SEGMENTS'] + '\\n')"
    )
    program = command_line([sys.executable, "-c", code, str(marks)])
    with simulated() as port:
        refused = call("run", job, "--port", port)
        assert refused.status == 2
        assert "none was named. Name the program when starting or resuming the run" in refused.err
        quoted = command_line(["PROGRAM ARGUMENT"])
        named = f"Name the program with: circumstep run {job} --port {port} --gate-program {quoted}"
        assert named in refused.err
        for named in (("--gate-program", program), ("--", sys.executable, "-c", code, str(marks))):
            ended = call("run", job, "--port", port, "--zero", "here", *named)
            assert ended.status == 0, ended.err
            assert marks.read_text().split() == ["1/3", "2/3", "3/3"]
            marks.unlink()
