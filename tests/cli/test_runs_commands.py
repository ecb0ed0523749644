"""`runs list`, `show` and `verify`: earlier runs on the disk, whole and damaged."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.errors import EXIT_BAD_INPUT, EXIT_CHECK_FAILED, EXIT_DONE
from firmware_host.station.journal.events import (
    Assumed,
    GateOpen,
    JournalEvent,
    Move,
    PassDone,
    Resume,
    Standstill,
    Zero,
)
from firmware_host.station.journal.journal import Journal
from firmware_host.station.runs.folder import RunFolder
from tests.cli.conftest import Circumstep
from tests.support.crashes import stopped
from tests.support.station_bench import StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def done(home: Path) -> StationBench:
    """A run that came to its end, in `runs`."""
    bench = StationBench(home, small_setup())
    bench.run()
    return bench


def test_the_list_tells_how_each_run_ended_and_which_cannot_be_read(
    done: StationBench, home: Path, circumstep: Circumstep
) -> None:
    crashed = stopped(home)
    damaged = RunFolder.create(home / "runs", "broken", done.clock.now())
    damaged.journal.write_bytes(b"rubbish\n")
    (home / "runs" / "link").symlink_to(done.folder.path)
    listed = circumstep("runs", "list")
    assert listed.status == EXIT_DONE
    rows = re.split(r"\n(?! )", listed.out.strip())[2:]  # what finds no place in a row's line stands below it
    lines = {row.split("  ")[0]: f"{' '.join(row.split())} " for row in rows}
    assert set(lines) == {f"runs/{folder.path.name}" for folder in (done.folder, crashed.folder, damaged)}
    assert " done " in lines[f"runs/{done.folder.path.name}"]
    assert " 6/6 " in lines[f"runs/{done.folder.path.name}"]
    assert " failed " in lines[f"runs/{crashed.folder.path.name}"]
    assert " 2/6 " in lines[f"runs/{crashed.folder.path.name}"]
    assert " unreadable - - because of: line 1 is damaged" in lines[f"runs/{damaged.path.name}"]
    entries = json.loads(circumstep("runs", "list", "--json").out)
    assert sorted(entry["outcome"] for entry in entries) == ["done", "failed", "unreadable"]


def test_a_folder_without_runs_is_an_error_that_names_it(circumstep: Circumstep) -> None:
    listed = circumstep("runs", "list", "--runs", "nowhere")
    assert (listed.status, listed.out) == (EXIT_BAD_INPUT, "")
    assert "nowhere" in listed.err
    assert "Name the folder that holds the runs" in listed.err


def test_show_tells_each_pass_from_the_journal_even_without_a_record(
    done: StationBench, circumstep: Circumstep
) -> None:
    done.folder.record.unlink()
    shown = circumstep("runs", "show", str(done.folder.path))
    assert shown.status == EXIT_DONE
    assert "done: 6 of 6 passes marked" in shown.out
    assert sum(" 1222 " in line for line in shown.out.splitlines()) == 2
    document = json.loads(circumstep("runs", "show", str(done.folder.path), "--json").out)
    assert [entry["status"] for entry in document["passes"]] == ["done"] * 6


def test_what_is_no_run_is_refused_by_show_and_verify(home: Path, circumstep: Circumstep) -> None:
    for command in ("show", "verify"):
        ended = circumstep("runs", command, str(home))
        assert ended.status == EXIT_BAD_INPUT
        assert "is no run folder" in ended.err


def test_an_untouched_run_verifies(done: StationBench, home: Path, circumstep: Circumstep) -> None:
    for folder in (done.folder, stopped(home).folder):
        verified = circumstep("runs", "verify", str(folder.path))
        assert verified.status == EXIT_DONE, verified.out
        names = [line.split()[0] for line in verified.out.splitlines()[2:] if not line.startswith(" ")]
        assert names == ["journal", "setup", "targets", "order", "record"]
        assert "DOES NOT" not in verified.out


def turn_bit(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))


def cut_line(path: Path) -> None:
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))


DAMAGES: dict[str, tuple[Callable[[RunFolder], None], str, str]] = {
    "journal bit": (lambda folder: turn_bit(folder.journal), "journal", "is damaged"),
    "journal cut": (lambda folder: cut_line(folder.journal), "journal", "has lost 1 of its 29 lines"),
    "setup": (lambda folder: folder.setup.write_text(folder.setup.read_text() + " "), "setup", "was changed"),
    "record": (
        lambda folder: folder.record.write_text(folder.record.read_text().replace('"done"', '"to do"', 2)),
        "record",
        "differs from what the journal says",
    ),
    "record gone": (lambda folder: folder.record.unlink(), "record", "is missing"),
    "record no JSON": (lambda folder: folder.record.write_text("{"), "record", "cannot be read"),
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_damage_is_named_and_gives_status_1(damage: str, done: StationBench, circumstep: Circumstep) -> None:
    act, name, complaint = DAMAGES[damage]
    act(done.folder)
    verified = circumstep("runs", "verify", str(done.folder.path))
    assert verified.status == EXIT_CHECK_FAILED
    (failed,) = [" ".join(row.split()) for row in re.split(r"\n(?! )", verified.out) if "DOES NOT HOLD" in row]
    assert failed.startswith(name)
    assert complaint in failed
    findings = json.loads(circumstep("runs", "verify", str(done.folder.path), "--json").out)
    assert [finding["name"] for finding in findings if not finding["holds"]] == [name]


def stood(reported: float, target: int = 0) -> Standstill:
    return Standstill(segment=1, target=target, position=target, reported=reported)


MOVE = Move(segment=1, target=0, position=0)
GATE_OPEN, DONE = GateOpen(segment=1, number=1), PassDone(segment=1, number=1)


@pytest.mark.parametrize(
    ("events", "name", "complaint"),
    [
        ([GATE_OPEN], "order", "gate open for segment 1, which does not stand still"),
        ([stood(0.6)], "order", "standstill at 0.6, planned 0"),
        ([stood(0.1), GATE_OPEN, MOVE], "order", "move while the gate is open for segment 1"),
        ([stood(0.1), GATE_OPEN, DONE], "order", "a pass is done before its gate is closed"),
        ([Move(segment=1, target=1, position=1)], "targets", "move of segment 1 at 1, planned 0"),
        ([stood(1.0, target=1)], "targets", "standstill of segment 1 at 1, planned 0"),
        ([Move(segment=4, target=0, position=0)], "targets", "move of segment 4 at 0, planned None"),
    ],
    ids=["no-rest", "beside", "move-open", "done-open", "move-astray", "stood-astray", "no-such-segment"],
)
def test_a_journal_of_deeds_in_a_wrong_order_does_not_verify(
    events: list[JournalEvent], name: str, complaint: str, home: Path, circumstep: Circumstep
) -> None:
    crashed = stopped(home)
    with Journal(crashed.folder.journal, crashed.clock) as journal:
        journal.write(Resume(zero=Zero.AS_LEFT))
        journal.write(Assumed(segment=1, number=1, done=False))
        for event in events:
            journal.write(event)
    verified = circumstep("runs", "verify", str(crashed.folder.path))
    assert verified.status == EXIT_CHECK_FAILED
    (failed,) = [" ".join(row.split()) for row in re.split(r"\n(?! )", verified.out) if "DOES NOT HOLD" in row]
    assert failed.startswith(name)
    assert f"line {17 + len(events)}: {complaint}" in failed


def test_a_damaged_journal_is_told_by_show_as_well(done: StationBench, circumstep: Circumstep) -> None:
    turn_bit(done.folder.journal)
    shown = circumstep("runs", "show", str(done.folder.path))
    assert shown.status == EXIT_BAD_INPUT
    assert "is damaged" in shown.err
