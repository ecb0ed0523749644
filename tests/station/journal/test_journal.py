"""The journal: on the disk before it returns, whole after any crash, and never written past a fault."""

import errno
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.errors import JournalError
from firmware_host.station.journal.events import Begin, End, GateOpen, Move, Resume, Standstill, Zero
from firmware_host.station.journal.journal import Journal, read_journal
from firmware_host.station.journal.tally import Tally, lines_noted, tally_path
from tests.support.journal_lines import journal_lines, sealed

BEGIN = Begin(
    setup_digest="0" * 64, job="job", machine="machine", port="p", targets=(0, 611), passes=1, overrun=0, marking=True
)


def written(path: Path, lines: int = 4) -> bytes:
    """A journal with some lines; returns its bytes."""
    with Journal(path, VirtualClock()) as journal:
        journal.write(BEGIN)
        for number in range(2, lines + 1):
            journal.write(Move(segment=1, target=number * 100))
    return path.read_bytes()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.jsonl"


def test_events_come_back_in_order_with_their_fields_and_times(path: Path) -> None:
    clock = VirtualClock()
    begin = BEGIN.model_copy(update={"job": 'brass, 30 \u00b5m "gap"'})
    move = Move(segment=1, target=-611, position=-4211)
    with Journal(path, clock) as journal:
        journal.write(begin)
        clock.sleep(1.5)
        journal.write(move)
    assert read_journal(path) == (
        begin.model_copy(update={"line": 1, "time": "2026-01-01T00:00:00.000+00:00"}),
        move.model_copy(update={"line": 2, "time": "2026-01-01T00:00:01.500+00:00", "clock_s": 1.5}),
    )
    assert all(json.loads(line) for line in path.read_text("ascii").splitlines())


def test_a_line_is_on_the_disk_before_write_returns(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[bytes] = []
    sync = os.fsync

    def fsync(descriptor: int) -> None:
        sync(descriptor)
        synced.append(path.read_bytes())

    with Journal(path, VirtualClock()) as journal:
        monkeypatch.setattr(os, "fsync", fsync)
        journal.write(BEGIN)
        assert synced[-1] == path.read_bytes()
        assert synced[-1].endswith(b"\n")


def test_a_line_that_goes_with_the_next_is_on_the_disk_with_it_and_counted_with_it(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[bytes] = []
    with Journal(path, VirtualClock()) as journal:
        journal.write(BEGIN)
        monkeypatch.setattr(os, "fsync", lambda descriptor: synced.append(path.read_bytes()))
        journal.write(Standstill(segment=1, target=0, position=0, reported=0.0), with_next=True)
        assert synced == []
        assert lines_noted(path) == 1
        journal.write(GateOpen(segment=1, number=1))
        assert set(synced) == {path.read_bytes()}
        assert lines_noted(path) == 3
    assert [event.kind for event in read_journal(path)] == ["begin", "standstill", "gate-open"]
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:2]))
    with pytest.raises(JournalError, match="has lost 1 of its 3 lines"):
        read_journal(path)


def test_a_tail_torn_at_any_byte_costs_only_that_line(path: Path) -> None:
    data = written(path)
    before_last = data.rstrip(b"\n").rfind(b"\n") + 1
    for length in range(before_last, len(data)):
        tally_path(path).unlink()  # of a line that was not yet noted to be there
        path.write_bytes(data[:length])
        assert [event.line for event in read_journal(path)] == [1, 2, 3]
        with Journal(path, VirtualClock()) as journal:
            journal.write(End(outcome="done"))
        assert [(event.line, event.kind) for event in read_journal(path)][3:] == [(4, "end")]


def test_a_changed_byte_anywhere_but_in_the_torn_tail_is_found(path: Path) -> None:
    data = written(path)
    missed = []
    for place in range(len(data) - 1):
        path.write_bytes(data[:place] + bytes([data[place] ^ 0x01]) + data[place + 1 :])
        try:
            read_journal(path)
        except JournalError:
            continue
        missed.append(place)
    assert missed == []


@pytest.mark.parametrize(
    ("damage", "complaint"),
    [
        (lambda lines: [lines[0], *lines[2:]], "line 2 is numbered 3: a line is missing or doubled"),
        (lambda lines: [lines[0], lines[1], *lines[1:]], "line 3 is numbered 2: a line is missing or doubled"),
        (lambda lines: [lines[1], lines[0], *lines[2:]], "line 1 is numbered 2"),
        (lambda lines: [lines[0], b"", *lines[1:]], "line 2 is damaged"),
        (lambda lines: [lines[0], lines[1][:20], *lines[2:]], "line 2 is damaged"),
        (lambda lines: [b"\x00" * 200, *lines[1:]], "line 1 is damaged"),
    ],
    ids=["missing", "doubled", "swapped", "empty", "torn-in-the-middle", "zeros"],
)
def test_damage_is_told_with_its_line(path: Path, damage: Callable[[list[bytes]], list[bytes]], complaint: str) -> None:
    lines = written(path).splitlines()
    path.write_bytes(b"\n".join(damage(lines)) + b"\n")
    with pytest.raises(JournalError, match=complaint):
        read_journal(path)
    with pytest.raises(JournalError, match=complaint):
        Journal(path, VirtualClock())


@pytest.mark.parametrize("found", [4, 0, "2", None], ids=["later", "zero", "text", "none"])
def test_another_schema_is_refused(found: object, path: Path) -> None:
    written(path)
    first, *lines = journal_lines(path)
    path.write_bytes(b"".join(map(sealed, [{**first, "schema": found}, *lines])))
    with pytest.raises(JournalError, match=f"has schema {found!r}; this version reads 1, 2 and 3"):
        read_journal(path)


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"event": "leap"}, r"line 2 is no event of schema 3 \(.*'leap'"),
        ({"target": "300"}, r"line 2 is no event of schema 3 \(move.target: Input should be a valid integer\)"),
        ({"segment": 0}, r"line 2 is no event of schema 3 \(move.segment: .*greater than or equal to 1\)"),
        ({"speed": 1.0}, r"line 2 is no event of schema 3 \(move.speed: Extra inputs are not permitted\)"),
    ],
    ids=["kind", "type", "range", "key"],
)
def test_a_line_that_is_whole_but_says_nothing_known_is_refused(
    changes: dict[str, object], complaint: str, path: Path
) -> None:
    written(path)
    first, second, *lines = (
        {key: value for key, value in line.items() if key != "sum"} for line in journal_lines(path)
    )
    path.write_bytes(b"".join(map(sealed, [first, {**second, **changes}, *lines])))
    with pytest.raises(JournalError, match=complaint):
        read_journal(path)


def test_a_second_writer_in_this_process_is_kept_out(path: Path) -> None:
    with Journal(path, VirtualClock()) as journal:
        with pytest.raises(JournalError, match="another process is writing this run"):
            Journal(path, VirtualClock())
        journal.write(BEGIN)
    with Journal(path, VirtualClock()) as again:
        again.write(End(outcome="done"))
    assert len(read_journal(path)) == 2


def test_a_second_writer_in_another_process_is_kept_out(path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from firmware_host.clock import VirtualClock;"
        "from firmware_host.station.journal.journal import Journal; Journal(Path(sys.argv[1]), VirtualClock())"
    )
    with Journal(path, VirtualClock()):
        result = subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False, timeout=60
        )
    assert result.returncode == 1
    assert "another process is writing this run" in result.stderr


def full_disk(monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    """From now on the disk is full: `write` takes nothing, `short` takes half of a line, `fsync` fails after all."""
    write = os.write

    def no_space(*arguments: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    if call == "short":
        monkeypatch.setattr(os, "write", lambda file, data: write(file, data[: len(data) // 2]))
    else:
        monkeypatch.setattr(os, call, no_space)


@pytest.mark.parametrize("call", ["write", "short", "fsync"])
def test_a_line_that_cannot_be_written_leaves_a_journal_that_can_be_resumed(
    path: Path, call: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Journal(path, VirtualClock()) as journal:
        journal.write(BEGIN)
        before = path.read_bytes()
        with monkeypatch.context() as patch:
            full_disk(patch, call)
            with pytest.raises(JournalError, match="stopped before the act"):
                journal.write(Move(segment=1, target=611))
        # There is space again, but what became of that line is not known: nothing follows it.
        with pytest.raises(JournalError, match="could not be written before"):
            journal.write(End(outcome="failed"))
    assert path.read_bytes() == before
    with Journal(path, VirtualClock()) as journal:
        journal.write(Resume(zero=Zero.AS_LEFT))
    assert [event.kind for event in read_journal(path)] == ["begin", "resume"]


@pytest.mark.parametrize("noted", [False, True], ids=["not-noted", "noted"])
def test_a_line_that_the_tally_may_hold_is_not_cut_off_where_the_tally_cannot_be_taken_back(
    path: Path, noted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut off, it would count as lost, and the run could not be resumed any more."""
    note = Tally.note

    def fail(tally: Tally, lines: int) -> None:
        if noted:
            note(tally, lines)
        raise OSError(errno.EIO, "unplugged")

    with Journal(path, VirtualClock()) as journal:
        journal.write(BEGIN)
        with monkeypatch.context() as patch:
            patch.setattr(Tally, "note", fail)
            patch.setattr(Tally, "take_back", fail)
            with pytest.raises(JournalError, match=r"unplugged.*stopped before the act"):
                journal.write(Move(segment=1, target=611))
    assert [event.kind for event in read_journal(path)] == ["begin", "move"]


def test_a_folder_that_cannot_be_written_is_told_as_a_journal_error(tmp_path: Path) -> None:
    (tmp_path / "run").write_bytes(b"a file in the folder's place")
    with pytest.raises(JournalError, match="cannot be locked"):
        Journal(tmp_path / "run" / "journal.jsonl", VirtualClock())


def test_a_link_in_the_journal_s_place_is_not_followed(path: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_bytes(b"")
    path.symlink_to(elsewhere)
    with pytest.raises(JournalError, match="cannot be opened for writing"):
        Journal(path, VirtualClock())
    assert elsewhere.read_bytes() == b""


def test_closing_twice_does_nothing(path: Path) -> None:
    journal = Journal(path, VirtualClock())
    journal.close()
    journal.close()
    Journal(path, VirtualClock()).close()


def test_a_journal_larger_than_the_bound_is_refused_unread(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    size = len(written(path))
    monkeypatch.setattr("firmware_host.station.journal.journal.LARGEST_JOURNAL", size)
    assert len(read_journal(path)) == 4
    monkeypatch.setattr("firmware_host.station.journal.journal.LARGEST_JOURNAL", size - 1)
    with pytest.raises(JournalError, match=rf"is larger than {size - 1} bytes"):
        read_journal(path)


def test_a_link_in_the_tally_s_place_is_not_followed(path: Path, tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_bytes(b"precious")
    tally_path(path).symlink_to(victim)
    with pytest.raises(JournalError, match=r"jsonl\.tally: is not a plain file, but a link"):
        Journal(path, VirtualClock())
    assert victim.read_bytes() == b"precious"
