"""A journal cut at every byte of its last records, or with any one bit turned: right, or refused with the reason."""

from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.errors import JournalError
from firmware_host.station.journal.events import Move
from firmware_host.station.journal.journal import Journal, read_journal
from firmware_host.station.journal.tally import lines_noted, tally_path
from tests.faults.setups import task_for
from tests.faults.world import Died, World
from tests.station.journal.test_journal import BEGIN


def dead_world(home: Path, where: Callable[[World], bool]) -> World:
    """A run whose process died at the first turn at which `where` held."""
    world = World(home, task_for("status-query/plain"), Random(0))
    world.on_turn = lambda: world.die() if where(world) else None
    with pytest.raises(Died):
        world.run()
    world.on_turn = lambda: None
    world.wait(10.0)
    return world


def in_second_segment(world: World) -> bool:
    return len(world.observer.openings) == 4


def after_second_standstill(world: World) -> bool:
    """When the second segment was moved to, and no pass of it begun."""
    data = world.folder.journal.read_bytes() if len(world.observer.openings) == 2 else b""
    return data.count(b'"standstill"') == 2 and lines_noted(world.folder.journal) == data.count(b"\n")


@pytest.mark.parametrize("every", [5, pytest.param(1, marks=pytest.mark.slow)])
@pytest.mark.parametrize("where", [in_second_segment, after_second_standstill], ids=["marking", "standing"])
def test_a_journal_cut_at_any_byte_of_its_last_three_records_is_refused_with_the_reason(
    where: Callable[[World], bool], every: int, tmp_path: Path
) -> None:
    """Those lines were on the disk, and what they announce was done: without them, a pass could be marked twice."""
    world = dead_world(tmp_path, where)
    data = world.folder.journal.read_bytes()
    lines = data.splitlines(keepends=True)
    openings, travels = len(world.observer.openings), len(world.line.motion_log)
    for length in range(sum(map(len, lines[:-3])), len(data), every):
        world.folder.journal.write_bytes(data[:length])
        whole = data[:length].count(b"\n")
        lost = (
            rf"has lost {len(lines) - whole} of its {len(lines)} lines: what was done after line {whole} is not known"
        )
        with pytest.raises(JournalError, match=lost):
            world.resume()
    assert (len(world.observer.openings), len(world.line.motion_log)) == (openings, travels)
    world.folder.journal.write_bytes(data)
    assert world.resume().outcome == "done"
    assert world.broken_promises(ended=True) == []


@pytest.mark.parametrize("every", [23, pytest.param(1, marks=pytest.mark.slow)])
def test_a_line_torn_while_it_was_written_at_any_byte_is_resumed(every: int, tmp_path: Path) -> None:
    """It was not on the disk yet, so what it announces was not done."""
    length = 0
    while True:
        (tmp_path / str(length)).mkdir()
        world = World(tmp_path / str(length), task_for("status-query/plain"), Random(0))
        world.disk.before = dying_at_line(world, 9, length)
        with pytest.raises(Died):
            world.run()
        world.disk.before = lambda: None
        world.wait(10.0)
        whole = length >= len(world.disk.line)  # an instant may take a digit less than last time
        assert world.folder.journal.read_bytes().count(b"\n") == 8 + whole
        assert world.resume().outcome == "done"
        assert world.broken_promises(ended=True) == []
        if whole:
            break
        length = min(length + every, len(world.disk.line))
    assert length > 80


def dying_at_line(world: World, line: int, length: int) -> Callable[[], None]:
    """Die with so many bytes of that line of the journal on the disk."""
    lines = 0

    def before() -> None:
        nonlocal lines
        lines += 1
        if lines == line:
            world.disk.tear(world.disk.line[:length], world.disk.descriptor, b"")
            world.die()
            raise Died

    return before


def dead_journal(home: Path, where: Callable[[World], bool]) -> bytes:
    home.mkdir()
    return dead_world(home, where).folder.journal.read_bytes()


@pytest.mark.parametrize("every", [pytest.param(True, marks=pytest.mark.slow), False], ids=["all-bits", "one-a-byte"])
def test_one_bit_turned_anywhere_in_a_journal_is_found_or_only_tears_its_last_line(every: bool, tmp_path: Path) -> None:
    """CRC-32 finds every error of one bit (Peterson and Brown, Proc. IRE 49, 1961): one in each byte, or them all."""
    data = dead_journal(tmp_path / "whole", in_second_segment)
    path = tmp_path / "journal.jsonl"
    path.write_bytes(data)
    events = read_journal(path)
    unseen, complaints = [], set()
    for place in range(len(data)):
        for bit in range(8) if every else [place % 8]:
            path.write_bytes(data[:place] + bytes([data[place] ^ (1 << bit)]) + data[place + 1 :])
            try:
                read = read_journal(path)
            except JournalError as error:
                complaints.add(error.detail.split(" (")[0].split(" is ")[-1])
            else:
                assert read == events[:-1]
                unseen.append(place)
    assert complaints == {"damaged"}
    assert unseen == [len(data) - 1] * (
        8 if every else 1
    )  # the last line end: then the line counts as torn, and is not believed


@pytest.mark.parametrize("place", [0.02, 0.3, 0.6, 0.9], ids=["begin", "zero", "marked", "last"])
def test_a_damaged_journal_is_refused_with_the_line_and_nothing_moves(place: float, tmp_path: Path) -> None:
    world = dead_world(tmp_path, in_second_segment)
    data = world.folder.journal.read_bytes()
    at = int(place * len(data))
    line = data[:at].count(b"\n") + 1
    damaged = data[:at] + bytes([data[at] ^ 0x04]) + data[at + 1 :]
    world.folder.journal.write_bytes(damaged)
    openings, travels = len(world.observer.openings), len(world.line.motion_log)
    with pytest.raises(JournalError, match=f"line {line} is damaged"):
        world.resume()
    assert (len(world.observer.openings), len(world.line.motion_log)) == (openings, travels)
    assert world.folder.journal.read_bytes() == damaged


def test_a_line_taken_out_or_doubled_is_refused(tmp_path: Path) -> None:
    world = dead_world(tmp_path, in_second_segment)
    lines = world.folder.journal.read_bytes().splitlines(keepends=True)
    for number in range(1, len(lines) - 1):
        without = b"".join([*lines[:number], *lines[number + 1 :]])
        twice = b"".join([*lines[: number + 1], *lines[number:]])
        for data, told in ((without, number + 1), (twice, number + 2)):
            world.folder.journal.write_bytes(data)
            with pytest.raises(JournalError, match=f"line {told} is numbered .* a line is missing or doubled"):
                world.resume()


def test_rubbish_that_a_power_cut_left_behind_the_last_line_is_cut_off(tmp_path: Path) -> None:
    """A file system may have lengthened the file before it wrote what belongs there: zeros."""
    world = dead_world(tmp_path, in_second_segment)
    data = world.folder.journal.read_bytes()
    world.folder.journal.write_bytes(data + bytes(300))
    assert world.resume().outcome == "done"
    assert world.broken_promises(ended=True) == []
    assert world.folder.journal.read_bytes().startswith(data + b'{"n":')


def test_a_second_writer_is_refused_while_the_first_one_lives(tmp_path: Path) -> None:
    world = dead_world(tmp_path, in_second_segment)
    with Journal(world.folder.journal, world.clock):
        openings = len(world.observer.openings)
        with pytest.raises(JournalError, match="another process is writing this run"):
            world.resume()
        assert len(world.observer.openings) == openings
    assert world.resume().outcome == "done"


def test_the_tally_is_never_ahead_of_the_journal_and_one_slot_of_it_may_be_damaged(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    with Journal(path, VirtualClock()) as journal:
        for number in range(1, 8):
            journal.write(BEGIN if number == 1 else Move(segment=1, target=number))
            assert lines_noted(path) == number == len(read_journal(path))
    whole = tally_path(path).read_bytes()
    for place in range(len(whole)):
        tally_path(path).write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert lines_noted(path) in (6, 7)
        assert len(read_journal(path)) == 7
    tally_path(path).unlink()
    assert lines_noted(path) == 0
