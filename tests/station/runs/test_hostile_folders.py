"""Whatever stands in a run's folder: an answer or one clear error, at once, and never instead of the other runs."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.trace import FileTrace
from firmware_host.errors import InputError, JournalError, RunNotBegunError
from firmware_host.station.journal.events import MOST_PASSES
from firmware_host.station.journal.journal import Journal, in_use, read_journal
from firmware_host.station.journal.tally import tally_path
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.listing import list_runs, read_record
from firmware_host.station.runs.resumable import Resumable
from firmware_host.station.runs.status import run_status
from firmware_host.station.runs.verify import verify_run
from tests.station.runs.hostile import KEPT, LONGEST_CPU_S, MOST_BYTES, instead, sealed

ROOT = Path(__file__).resolve().parents[3]
BEGIN = {
    "n": 1,
    "t": "",
    "s": 0.0,
    "event": "begin",
    "schema": 2,
    "setup": "",
    "job": "job",
    "machine": "m",
    "port": "p",
}
BEGIN |= {"targets": [0, 611], "passes": 2, "overrun": 0, "marking": True, "accepted": {}}


@pytest.fixture
def folder(tmp_path: Path) -> RunFolder:
    """A run that was stopped, beside one that is whole."""
    shutil.copytree(KEPT / "done", tmp_path / "runs" / "a whole one")
    return RunFolder(Path(shutil.copytree(KEPT / "stopped", tmp_path / "runs" / "b")))


def listed(folder: RunFolder) -> tuple[str, str]:
    """State and problem in the list, in which the other run is as it was."""
    whole, this = list_runs(folder.path.parent)
    assert (whole.path.name, whole.state) == ("a whole one", "done")
    assert this.path == folder.path
    return this.state, this.problem


# --- a line that is whole and says nothing that a run says ----------------------------------------------------------

DIGITS = "9" * 6000
SHAPES = {
    "list": ("[1,2]", r"line 1 is no event \("),
    "nothing": ("{}", "line 1 is numbered None"),
    "no-schema": ('{"n":1}', r"has schema None; this version reads 1, 2 and 3"),
    "listed-schema": ('{"n":1,"schema":[2]}', r"has schema \[2\]; this"),
    "true-schema": ('{"n":1,"schema":true}', r"has schema True; this"),
    "no-event": ('{"n":1,"schema":2}', r"line 1 is no event of schema 2 \(.*tag"),
    "no-keys": ('{"n":1,"schema":2,"event":"begin"}', r"line 1 is no event of schema 2 \(begin\.setup: Field required"),
    "digits-first": (f'{{"n":1,"schema":{DIGITS}}}', r"line 1 is no event \(Exceeds the limit"),
    "digits": (json.dumps(BEGIN | {"overrun": 0}).replace("611", DIGITS), r"line 1 is no event"),
    "nested": ("[" * 900 + "]" * 900, r"line 1 is no event \("),
    "nested-deep": ('{"a":' * 999 + "1" + "}" * 999, "line 1 "),
    "nested-deeper": ("[" * 30_000 + "]" * 30_000, r"line 1 holds more than 1000 \["),
    "keys": (json.dumps({f"{key}": 0 for key in range(30_000)}), 'line 1 holds more than 20000 "'),
    "passes": (json.dumps(BEGIN | {"passes": 1_000_000_000}), rf"line 1 .*more than {MOST_PASSES} passes in one run"),
    "no-passes": (json.dumps(BEGIN | {"passes": 0}), r"line 1 .*begin\.passes: .*greater than or equal to 1"),
    "far": (json.dumps(BEGIN | {"targets": [0, 10**20]}), r"line 1 .*begin\.targets"),
    "text": ('"begin"', r"line 1 is no event \("),
    "control": (json.dumps(BEGIN | {"event": "\x1b[2J\n"}), r"line 1 is no event of schema 2 \(.*Input tag"),
}


@pytest.mark.parametrize(("text", "complaint"), SHAPES.values(), ids=SHAPES)
def test_a_line_of_a_wrong_shape_is_one_error_about_that_run(text: str, complaint: str, folder: RunFolder) -> None:
    tally_path(folder.journal).unlink()
    folder.journal.write_bytes(sealed(text.replace(", ", ",").replace(": ", ":")))
    with pytest.raises(JournalError, match=complaint) as caught:
        read_record(folder)
    message = str(caught.value)
    assert len(message) < 600 + len(str(folder.journal))
    assert message.isprintable()
    state, problem = listed(folder)
    assert (state, bool(re.search(complaint, problem))) == ("unreadable", True)
    with pytest.raises(JournalError, match=complaint):
        Journal(folder.journal, VirtualClock())


def test_a_run_begins_once(folder: RunFolder) -> None:
    folder.journal.write_bytes(sealed(json.dumps(BEGIN)) + sealed(json.dumps(BEGIN | {"n": 2})))
    tally_path(folder.journal).unlink()
    with pytest.raises(JournalError, match="line 2 begins the run again"):
        read_journal(folder.journal)


def test_a_line_without_end_is_refused_before_it_is_read_whole(folder: RunFolder) -> None:
    with folder.journal.open("ab") as file:
        file.truncate(60_000_000)
    with pytest.raises(JournalError, match="line 16 has more than 4000000 bytes in a line"):
        read_record(folder)


# --- something else in a file's place -------------------------------------------------------------------------------

THINGS = ["pipe", "folder", "link", "device"]
LOOKS: dict[str, Callable[[RunFolder], object]] = {
    "show": lambda folder: read_record(RunFolder.existing(folder.path)),
    "status": run_status,
    "resume": Resumable.read,
}


@pytest.mark.parametrize("thing", THINGS)
@pytest.mark.parametrize("name", ["journal.jsonl", "journal.jsonl.tally"])
@pytest.mark.timeout(30)
def test_no_look_at_a_run_waits_for_what_is_no_plain_file(name: str, thing: str, folder: RunFolder) -> None:
    instead(folder.path / name, thing)
    for look in LOOKS.values():
        with pytest.raises(JournalError, match=f"{re.escape(name)}: is not a plain file, but a"):
            look(folder)
    state, problem = listed(folder)
    assert state == "unreadable"
    assert "is not a plain file, but a" in problem
    assert [finding.holds for finding in verify_run(folder)] == [False]
    with pytest.raises(JournalError, match="is not a plain file, but a"):
        Journal(folder.journal, VirtualClock())


@pytest.mark.parametrize("thing", THINGS)
@pytest.mark.timeout(30)
def test_setup_record_lock_and_trace_are_plain_files_too(thing: str, folder: RunFolder) -> None:
    instead(folder.setup, thing)
    for look in (run_status, Resumable.read):
        with pytest.raises(JournalError, match=r"setup\.json: is not a plain file, but a"):
            look(folder)
    instead(folder.record, thing)
    found = {finding.name: finding.detail for finding in verify_run(folder) if not finding.holds}
    assert {name: "is not a plain file, but a" in detail for name, detail in found.items()} == {
        "setup": True,
        "record": True,
    }
    instead(Path(f"{folder.journal}.lock"), thing)
    assert in_use(folder.journal) is False
    assert listed(folder) == ("stopped", "")
    with pytest.raises(JournalError, match=r"cannot be locked \(is not a plain file, but a"):
        Journal(folder.journal, VirtualClock())
    instead(folder.trace, thing)
    with pytest.raises(JournalError, match="the trace cannot be opened: is not a plain file, but a"):
        FileTrace(folder.trace, VirtualClock())


def test_a_run_that_cannot_be_looked_into_is_in_the_list(folder: RunFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    look = Path.iterdir

    def refused(path: Path) -> Any:
        if path == folder.path:
            raise PermissionError(13, "Permission denied")
        return look(path)

    monkeypatch.setattr(Path, "iterdir", refused)
    assert listed(folder) == ("unreadable", "cannot be looked into (Permission denied)")


def test_what_is_no_run_is_not_in_the_list(folder: RunFolder) -> None:
    runs = folder.path.parent
    (runs / "empty").mkdir()
    (runs / "notes.txt").write_bytes(b"")
    os.mkfifo(runs / "pipe")
    assert [run.path.name for run in list_runs(runs)] == ["a whole one", "b"]


# --- before the first line ------------------------------------------------------------------------------------------


def no_journal(folder: RunFolder) -> None:
    folder.journal.unlink()


def empty(folder: RunFolder) -> None:
    folder.journal.write_bytes(b"")


def torn(folder: RunFolder) -> None:
    folder.journal.write_bytes(folder.journal.read_bytes()[:100])


@pytest.mark.parametrize("stopped", [no_journal, empty, torn], ids=lambda stopped: stopped.__name__)
def test_a_run_stopped_before_its_first_line_moved_nothing_and_is_told_so(
    stopped: Callable[[RunFolder], None], folder: RunFolder
) -> None:
    tally_path(folder.journal).unlink()
    stopped(folder)
    state, problem = listed(folder)
    assert state == "not begun"
    assert problem == "nothing was moved: the run ended before the first line of its journal. Start the job again"
    for look in (LOOKS["show"], *([] if stopped is no_journal else [run_status, Resumable.read])):
        with pytest.raises(RunNotBegunError, match=r"/b: nothing was moved: .*\. Start the job again") as caught:
            look(folder)
        (act,) = caught.value.acts
        assert act == type(act)(job=folder.load_setup().job_source)


def test_a_journal_whose_lines_are_all_lost_is_not_taken_for_one_without_any(folder: RunFolder) -> None:
    folder.journal.write_bytes(b"")
    with pytest.raises(JournalError, match="has lost 15 of its 15 lines"):
        read_record(folder)
    assert listed(folder)[0] == "unreadable"


def test_a_folder_with_nothing_of_a_run_is_none(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no run folder"):
        RunFolder.existing(tmp_path)


# --- drawn ----------------------------------------------------------------------------------------------------------


def looked_at(first: int, count: int, home: Path) -> list[dict[str, Any]]:
    command = [sys.executable, "-m", "tests.station.runs.hostile", str(first), str(count), str(home)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=3000)
    assert done.returncode == 0, done.stderr[-3000:]
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.parametrize(
    ("first", "count"),
    [(15, 30), pytest.param(0, 900, marks=[pytest.mark.slow, pytest.mark.timeout(3000)])],
    ids=["sample", "whole"],
)
def test_every_drawn_folder_gives_answers_or_clear_errors_in_bounded_time_and_memory(
    first: int, count: int, tmp_path: Path
) -> None:
    results = looked_at(first, count, tmp_path)
    assert len(results) == count
    assert {tuple(each["others"]) for each in results} == {("done",)}
    said = [(name, what) for each in results for name, (what, _) in each["said"].items()]
    assert {what for name, what in said if name in ("list", "verify")} == {"an answer"}
    assert len({what for _, what in said}) >= 3  # neither all refused nor all accepted
    assert max(cpu_s for each in results for _, cpu_s in each["said"].values()) < LONGEST_CPU_S
    assert results[-1]["bytes"] < MOST_BYTES
