"""How a run ends as a process: every signal, a closed terminal, a killed process; and what is told behind it."""

from __future__ import annotations

import json
import os
import re
import select
import shlex
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.command import COMMAND, PATIENCE_S, Program, call, call_marking, environment
from tests.support.ending_signals import BREAK, HANGUP
from tests.support.three_segments import JOB
from tests.support.windows import BREAK_HERE

NOBODY = (
    "nobody can answer: standard input is closed. Run it in a terminal, "
    "or say beforehand how to treat interrupted passes"
)
UNKNOWN = "Segment 1, pass 1: its gate was open when the run ended."


@pytest.fixture
def job(tmp_path: Path) -> str:
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    return str(path)


@pytest.fixture
def port() -> Iterator[str]:
    with Program("controller", "simulate", "--kind", "socket", "--clock", "20") as board:
        yield board.wait_for("out", "\n").strip()


def only_run(home: Path) -> Path:
    (folder,) = (home / "runs").iterdir()
    return folder


def events(folder: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in (folder / "journal.jsonl").read_text("utf-8").splitlines()]


@pytest.mark.parametrize(
    ("number", "reason", "times"),
    [
        pytest.param(signal.SIGINT, "Ctrl-C", 3, id="ctrl-c-thrice"),
        pytest.param(signal.SIGTERM, "terminated", 1, id="sigterm-once"),
        pytest.param(signal.SIGINT, "Ctrl-C", 1, id="ctrl-c-once", marks=pytest.mark.slow),
        pytest.param(signal.SIGTERM, "terminated", 3, id="sigterm-thrice", marks=pytest.mark.slow),
        pytest.param(BREAK_HERE, "Ctrl-Break, or the window was closed", 1, id="ctrl-break-once", marks=BREAK),
        pytest.param(signal.SIGHUP, "terminal closed", 1, id="sighup-once", marks=[pytest.mark.slow, HANGUP]),
        pytest.param(signal.SIGHUP, "terminal closed", 3, id="sighup-thrice", marks=[pytest.mark.slow, HANGUP]),
    ],
)
def test_a_signal_stops_a_run_with_status_4_however_often_it_comes(
    number: signal.Signals, reason: str, times: int, job: str, port: str, tmp_path: Path
) -> None:
    with Program("run", job, "--port", port) as run:
        run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
        for _ in range(times):
            run.send(number)
        ended = run.end()
    assert ended.status == 4
    folder = only_run(tmp_path)
    lines = ended.err.splitlines()
    assert lines.index("GATE CLOSED: do not mark.") < next(
        i for i, line in enumerate(lines) if line.startswith(UNKNOWN)
    )
    option = " --zero here"  # it stands at machine zero, as a board does that was switched off and on
    assert lines[-3:] == [
        f"error: stopped ({reason}); the run in runs/{folder.name} can be resumed",
        "  To answer beforehand, resume with --assume done or --assume not-done.",
        f"  Resume with: circumstep resume runs/{folder.name}{option}",
    ]
    assert "Position lost: it stands at machine zero" in lines[-4]
    end = events(folder)[-1]
    assert (end["event"], end["outcome"], end["reason"], end["stands_still"]) == ("end", "stopped", reason, True)
    assert json.loads((folder / "record.json").read_text("utf-8"))["outcome"] == "stopped"
    resumed = call_marking(*lines[-1].split("circumstep ")[1].split(), "--assume", "not-done")
    assert resumed.status == 0, resumed.err
    assert "the job's zero is where the part stands now" in resumed.err
    assert "segment 1, pass 1: not done, it will be marked again" in resumed.err


@pytest.mark.posix("a pseudo-terminal")
def test_a_terminal_that_is_closed_stops_the_run_with_status_4(job: str, port: str, tmp_path: Path) -> None:
    """A real terminal: with it go standard input and error, and whatever is shown there fails."""
    import fcntl
    import termios

    ours, theirs = os.openpty()
    process = subprocess.Popen(
        [*COMMAND, "run", job, "--port", port],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
        preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        env=environment(),
    )
    try:
        os.close(theirs)
        shown, until_s = b"", time.monotonic() + PATIENCE_S
        while b"STANDSTILL: mark segment 1" not in shown and time.monotonic() < until_s:
            if select.select([ours], [], [], 1.0)[0]:
                shown += os.read(ours, 65536)
        assert b"STANDSTILL: mark segment 1" in shown
        assert b"None passes" not in shown
        os.close(ours)
        assert process.wait(PATIENCE_S) == 4
    finally:
        if process.poll() is None:
            process.kill()
            process.wait(PATIENCE_S)
    end = events(only_run(tmp_path))[-1]
    # Either is the truth, and whichever is seen first is told.
    assert (end["event"], end["reason"] in {"terminal closed", f"gate operator: {NOBODY}"}) == ("end", True)
    assert (only_run(tmp_path) / "record.json").exists()


def test_a_killed_run_is_called_crashed_and_one_at_work_running(job: str, port: str, tmp_path: Path) -> None:
    told = tmp_path / "state.json"
    with Program("run", job, "--port", port, "--state", str(told)) as run:
        run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
        assert " running " in call("runs", "list").out
        assert "A process is working on this run now." in call("runs", "show", str(only_run(tmp_path))).out
        run.send(signal.SIGKILL)
        assert run.end().status == -signal.SIGKILL
    left = json.loads(told.read_text("utf-8"))  # whole, as it was told last: only its time says that it is stale
    assert (left["phase"], left["gate_open"], left["outcome"], left["stale_after_s"]) == ("marking", True, None, 3.0)
    assert " crashed " in call("runs", "list").out
    shown = call("runs", "show", str(only_run(tmp_path))).out
    for words in ("crashed: 0 of 3 passes marked", UNKNOWN, "--zero here"):
        assert words in shown


def test_a_port_that_goes_away_ends_with_status_3_and_says_how_to_resume(job: str, tmp_path: Path) -> None:
    with Program("controller", "simulate", "--kind", "socket", "--clock", "20") as board:
        port = board.wait_for("out", "\n").strip()
        with Program("run", job, "--port", port) as run:
            run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
            run.say("\n")
            run.wait_for("err", "STANDSTILL: mark segment 2 of 3")
            board.interrupt()
            ended = run.end()
        assert board.end().status == 0
    assert ended.status == 3
    lines = ended.err.splitlines()
    assert "The axis could not be seen to stand still. Look before you reach in." in lines
    assert lines[-1] == f"  Resume with: circumstep resume runs/{only_run(tmp_path).name}"
    assert lines[-3].startswith(f"error: port {port}: ")


def test_a_gate_that_times_out_ends_with_status_4_and_says_how_to_resume(job: str, port: str, tmp_path: Path) -> None:
    Path(job).write_text(JOB + '[gate]\nkind = "operator"\ntimeout = "0.5 s"\n', encoding="utf-8")
    with Program("run", job, "--port", port) as run:
        ended = run.end()
    assert ended.status == 4
    lines = ended.err.splitlines()
    assert lines[-3] == "error: gate operator: nobody confirmed within 0.5 s that the pass is done"
    assert lines[-1] == f"  Resume with: circumstep resume runs/{only_run(tmp_path).name} --zero here"


def test_an_answer_that_is_none_is_asked_for_again(job: str, port: str, tmp_path: Path) -> None:
    with Program("run", job, "--port", port) as run:
        run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
        run.interrupt()
        run.end()
    folder = str(only_run(tmp_path))
    with Program("resume", folder, "--zero", "set-anew", enters_at="STANDSTILL: mark segment") as run:
        run.wait_for("err", "Was segment 1, pass 1 finished?")
        run.say("perhaps\n")
        run.wait_for("err", "'perhaps' is not an answer: press y or n, then Enter.")
        run.say("Y\n")
        ended = run.end()
    assert ended.status == 0, ended.err
    assert "segment 1, pass 1: taken for done" in ended.err
    assert re.findall(r"STANDSTILL: mark segment (\d)", ended.err) == ["2", "3"]


# --- a limit that fails --------------------------------------------------------------------------------------------

TOO_QUICK = JOB + '[index]\nacceleration = "90000 deg/s^2"\nspeed = "90 deg/s"\n'


def test_a_limit_that_fails_stops_before_the_port_is_opened_unless_each_is_accepted(job: str, tmp_path: Path) -> None:
    Path(job).write_text(TOO_QUICK, encoding="utf-8")
    refused = call("run", job, "--port", "/nowhere")
    assert (refused.status, refused.out) == (1, "")
    names = re.findall(r"([a-z-]+): [\d.]+ [^ ]+ where ", refused.err)
    assert len(names) >= 2
    assert not (tmp_path / "runs").exists()
    some = call("run", job, "--port", "/nowhere", "--accept-limit", names[0])
    assert some.status == 1
    assert f"{names[0]}:" not in some.err
    assert f"{names[1]}:" in some.err
    accepted = [word for name in names for word in ("--accept-limit", name)]
    opened = call("run", job, "--port", "/nowhere", *accepted)
    assert opened.status == 3
    assert "/nowhere" in opened.err


def test_an_accepted_limit_is_remembered_so_that_the_printed_resume_works_as_typed(
    job: str, port: str, tmp_path: Path
) -> None:
    # 7000 kg/m^3 make 1.65 kg of the 1.85 kg weighed: 11 % off.
    Path(job).write_text(JOB.replace('mass = "', 'density = "7000 kg/m^3"\nmass = "'), encoding="utf-8")
    refused = call("run", job, "--port", port)
    assert (refused.status, refused.out) == (1, "")
    assert refused.err.startswith("error: the plan exceeds its limits: mass: ")
    with Program("run", job, "--port", port, "--accept-limit", "mass=a lead core, weighed twice") as run:
        run.wait_for("err", "STANDSTILL: mark segment 1 of 3")
        run.send(signal.SIGINT)
        ended = run.end()
    assert ended.status == 4
    kept = json.loads((only_run(tmp_path) / "setup.json").read_text("utf-8"))
    assert kept["job"]["accept"] == {"mass": "a lead core, weighed twice"}
    program, *words = shlex.split(ended.err.splitlines()[-1].partition("Resume with: ")[2])
    assert program == "circumstep"
    resumed = call_marking(*words, "--assume", "not-done")
    assert resumed.status == 0, resumed.err
    told = "Accepted: mass (a lead core, weighed twice)"
    assert told in resumed.out.splitlines()
    assert told in call("runs", "show", words[1]).out.splitlines()


def test_settings_are_not_written_for_a_job_that_a_limit_stops_unless_it_is_accepted(job: str, port: str) -> None:
    Path(job).write_text(JOB.replace('mass = "', 'density = "7000 kg/m^3"\nmass = "'), encoding="utf-8")
    write = ("controller", "settings", "write", job, "--port", port)
    refused = call(*write)
    assert (refused.status, refused.out) == (1, "")
    assert refused.err.startswith("error: the plan exceeds its limits: mass: ")
    never = call(*write, "--accept-limit", "falls-through")
    assert never.status == 2
    assert "falls-through cannot be accepted: the part would drop between the rollers" in never.err
    written = call(*write, "--accept-limit", "mass")
    assert written.status == 0, written.err


def test_resume_refuses_a_limit_that_is_none_before_it_looks_at_the_run(tmp_path: Path) -> None:
    ended = call("resume", "runs/none", "--accept-limit", "crep")
    assert (ended.status, ended.out) == (2, "")
    assert ended.err == "error: --accept-limit: there is no limit 'crep'. Did you mean 'creep'?\n"
