"""Single keys during a run, and the lines at the bottom of the screen that name them."""

from __future__ import annotations

import io
import json
import os
import re
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any, cast

import pytest

from firmware_host.cli.screen.keys_of_run import HELP, RunKeys
from firmware_host.cli.screen.run_progress import RunProgress
from firmware_host.clock import VirtualClock
from firmware_host.station.operator import Operator
from firmware_host.station.passes.control import RunControl
from firmware_host.station.progress import RunState
from tests.cli.command import COMMAND, PATIENCE_S, Program, environment
from tests.support.kept import kept
from tests.support.three_segments import JOB, own_folders


class Told(Operator):
    """A person who is told and says nothing."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def tell(self, text: str) -> None:
        self.lines.append(text)

    def answer(self) -> str | None:
        return "a line"

    def forget(self) -> None:
        pass


@pytest.fixture
def control() -> RunControl:
    control = RunControl()
    control.stands_at((3, 2), (3, 1))
    return control


@pytest.fixture
def told() -> Told:
    return Told()


@pytest.fixture
def keys(control: RunControl, told: Told) -> RunKeys:
    return RunKeys(control, told)


def test_h_holds_and_carries_on_and_s_stops(keys: RunKeys, control: RunControl) -> None:
    keys.press("h")
    assert control.holds
    keys.press("H")
    assert not control.holds
    assert control.stop.reason is None
    keys.press("s")
    assert control.stop.reason == "by the operator"


@pytest.mark.parametrize(("answer", "skipped"), [("y", 3), ("n", None), ("enter", None), ("k", None)])
def test_a_segment_is_skipped_only_when_that_is_confirmed(
    answer: str, skipped: int | None, keys: RunKeys, control: RunControl, told: Told
) -> None:
    keys.press("k")
    assert control.take_skip() is None
    assert told.lines == ["Skip what is left of segment 3? y or n"]
    control.stands_at((4, 1), (3, 2))  # the run is on the next one by the time of the answer
    keys.press(answer)
    assert control.take_skip() == skipped


def test_r_repeats_the_pass_that_was_marked_last_and_says_which(keys: RunKeys, control: RunControl, told: Told) -> None:
    keys.press("r")
    assert control.take_repeat() == (3, 1)
    assert told.lines == ["Segment 3, pass 1 will be marked once more."]


def test_keys_that_do_nothing_here_do_nothing_and_the_question_mark_names_those_that_do(
    keys: RunKeys, control: RunControl, told: Told
) -> None:
    for key in ("x", "up", "escape", "space", "backspace", "y"):
        keys.press(key)
    assert not control.wishes
    assert control.stop.reason is None
    keys.press("?")
    assert told.lines == list(HELP)


def test_before_the_passes_begin_a_line_is_the_answer(keys: RunKeys) -> None:
    assert not keys.by_key
    assert keys.answer() == "a line"
    assert keys.legend == ""


# --- the bottom of the screen --------------------------------------------------------------------------------------

AT = {"segment": 3, "segments": 6, "number": 1, "passes": 2, "done": 5, "of": 12}


@pytest.mark.parametrize(
    ("state", "first"),
    [
        (RunState("preparing", of=12), "TURNING  comparing"),
        (RunState("turning", **AT), "TURNING  to segment 3 of 6, pass 1 of 2"),
        (RunState("settling", still=True, **AT), "STILL    segment 3 of 6, pass 1 of 2, the gate is closed"),
        (RunState("marking", still=True, **AT), "STILL    segment 3 of 6, pass 1 of 2, THE GATE IS OPEN"),
        (RunState("held", still=True, **AT), "STILL    HOLDING at segment 3 of 6, pass 1 of 2, the gate is closed"),
    ],
    ids=lambda value: value.phase if isinstance(value, RunState) else "",
)
def test_the_first_line_says_still_or_turning_and_where(state: RunState, first: str) -> None:
    progress = RunProgress()
    progress.stage("comparing")
    progress.state(state)
    lines = progress.lines()
    assert lines[0] == first
    assert lines[1] == f"{state.done} of 12 passes marked, time left is not known yet"
    assert max(map(len, lines)) <= 80


def test_the_time_left_runs_down_while_it_works_and_stands_during_a_hold() -> None:
    clock = VirtualClock()
    progress = RunProgress(clock=clock)

    def shown(phase: Any) -> str:
        progress.state(RunState(phase, still=True, left_s=600.0, **AT))
        clock.sleep(60.0)
        return progress.lines()[1]

    assert "about 9 min 00 s left" in shown("marking")
    ends = (clock.now() + timedelta(seconds=540)).astimezone()
    assert re.search(f"done at .*{ends:%H:%M}", progress.lines()[1])
    assert "about 10 min 00 s left" in shown("held")


def test_a_run_that_no_longer_looks_is_not_called_still() -> None:
    clock = VirtualClock()
    progress = RunProgress(clock=clock)
    progress.state(RunState("marking", still=True, gate_open=True, **AT))
    clock.sleep(1.0)
    assert progress.lines()[0].startswith("TURNING")
    progress.still_so()
    assert progress.lines()[0].startswith("STILL")


@pytest.mark.parametrize("phase", ["done", "stopped", "failed", "between"])
def test_a_run_that_is_over_leaves_nothing_at_the_bottom_and_lines_are_typed_again(phase: Any, keys: RunKeys) -> None:
    progress = RunProgress(keys=keys)
    progress._live = cast(Any, object())
    keys._keys = cast(Any, object())
    progress.state(RunState(phase, done=12, of=12))
    assert progress.lines() == ()
    assert not keys.by_key


@pytest.mark.posix("a pseudo-terminal")
def test_what_goes_to_a_file_gets_there_while_the_terminal_shows_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    import pty

    ours, theirs = pty.openpty()
    file = io.StringIO()
    with os.fdopen(ours, "rb", buffering=0), os.fdopen(theirs, "w") as screen:
        monkeypatch.setattr("sys.stderr", screen)
        monkeypatch.setattr("sys.stdout", file)
        with RunProgress() as progress:
            progress.state(RunState("marking", still=True, **AT))
            sys.stdout.write("done: 12 of 12 passes\n")
    assert file.getvalue() == "done: 12 of 12 passes\n"


# --- at a real terminal --------------------------------------------------------------------------------------------


@pytest.fixture
def port(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    own_folders(tmp_path, monkeypatch)
    Path("job.toml").write_text(JOB.replace('arc = "30 mm"', 'arc = "30 mm"\npasses = 2'), encoding="utf-8")
    with Program("controller", "simulate", "--kind", "socket", "--clock", "20") as board:
        yield board.wait_for("out", "\n").strip()


def gate_open(segment: int, number: int) -> str:
    """Matches the first of the lines at the bottom."""
    return f"STILL +segment {segment} of 3, pass {number} of 2, THE GATE IS OPEN"


@pytest.mark.posix("a pseudo-terminal")
def test_a_session_with_each_key_of_a_run_is_the_one_that_is_kept(port: str) -> None:
    from tests.support.screen import Screen

    with Screen("run", "job.toml", "--port", port) as person:
        person.wait(gate_open(1, 1))
        person.press("?", until=re.escape(HELP[-1]))
        person.press("h", until="Keys: h do not hold")
        person.press("Enter", until="STILL +HOLDING at segment 1 of 3, pass 1 of 2")
        person.press("r", until="Segment 1, pass 1 will be marked once more")
        person.press("h", until=gate_open(1, 1))
        person.press("Enter", until=gate_open(1, 2))
        person.press("k", until="y yes  n no")
        person.press("n", until="Segment 1 is not skipped")
        person.press("k", until="y yes  n no")
        person.press("y", until=gate_open(2, 1))
        person.press("r", "Enter", until="segment 2, pass 1 is marked again")
        person.press("s")
        assert person.end() == 4
    (folder,) = Path("runs").iterdir()
    command, *shown = person.transcript
    begins = next(number for number, line in enumerate(shown) if line.startswith("STANDSTILL"))
    text = "\n".join([command, "(the plan, as in screens/run-*.txt)", *shown[begins:]])
    compare_with_kept("run-keys", text.replace(port, "PORT").replace(folder.name, "FOLDER"))
    lines = [json.loads(line) for line in (folder / "journal.jsonl").read_text("utf-8").splitlines()]
    acts = [(line["event"], line.get("segment"), line.get("pass")) for line in lines]
    assert [act for act in acts if act[0] in ("gate-open", "repeat", "skip", "end")] == [
        ("gate-open", 1, 1),
        ("repeat", 1, 1),
        ("gate-open", 1, 1),
        ("gate-open", 1, 2),
        ("skip", 1, None),
        ("gate-open", 2, 1),
        ("repeat", 2, 1),
        ("gate-open", 2, 1),
        ("end", None, None),
    ]


def compare_with_kept(name: str, text: str) -> None:
    """With the session that is kept; CIRCUMSTEP_WRITE_SCREENS=1 writes it anew."""
    assert f"{text}\n" == kept(Path(__file__).parent / "sessions" / f"{name}.txt", f"{text}\n")
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.posix("a pseudo-terminal")
def test_the_terminal_takes_lines_again_after_a_run(port: str) -> None:
    import pexpect

    run = pexpect.spawn(
        "/bin/sh",
        env={**environment(), "TERM": "xterm", "PS1": "READY"},
        dimensions=(24, 80),
        encoding="utf-8",
        timeout=PATIENCE_S,
    )
    try:
        start = " ".join(f"'{word}'" for word in (COMMAND[0], "-m", "firmware_host", "run", "job.toml", "--port", port))
        run.sendline(f"{start} --only 1")
        run.expect("STANDSTILL: mark segment 1 of 3, pass 1")
        run.sendintr()
        run.expect(r"stopped \(Ctrl-C\)")
        run.sendline("stty -a; echo mode''told")
        run.expect("modetold")
        assert re.search(r"(?<!-)\bicanon\b", run.before)
        assert re.search(r"(?<!-)\becho\b", run.before)
    finally:
        run.close(force=True)
