"""The state in a file and on a socket: always whole, read by any number, and nobody delays the run."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from firmware_host.clock import SystemClock
from firmware_host.errors import InputError
from firmware_host.station.progress import RunState, SilentProgress
from firmware_host.station.state import file as state_file
from firmware_host.station.state.file import StateFile
from firmware_host.station.state.loopback import MOST_READERS, StateSocket
from firmware_host.station.state.publisher import open_outlet, publishing_state
from firmware_host.system.sockets import HOST

PATIENCE_S = 20.0


class Reader:
    """Somebody who reads the states from a socket."""

    def __init__(self, port: int) -> None:
        self.socket = socket.create_connection((HOST, port), timeout=PATIENCE_S)
        self._rest = b""

    def __iter__(self) -> Iterator[dict[str, Any]]:
        return self

    def __next__(self) -> dict[str, Any]:
        """The next state; the end, where nothing follows or the last line is cut off."""
        while b"\n" not in self._rest:
            piece = self.socket.recv(1 << 16)
            if not piece:
                raise StopIteration
            self._rest += piece
        line, _, self._rest = self._rest.partition(b"\n")
        return dict(json.loads(line))

    def numbers(self) -> list[int]:
        """All that follows until the end."""
        return [line["sequence"] for line in self]


@pytest.fixture
def read() -> Iterator[Callable[[int], Reader]]:
    """Makes readers of a port; all are closed at the end."""
    readers: list[Reader] = []

    def make(port: int) -> Reader:
        readers.append(Reader(port))
        return readers[-1]

    yield make
    for each in readers:
        each.socket.close()


def numbered(number: int, pad: int = 0) -> str:
    return json.dumps({"sequence": number, "pad": "x" * pad})


# --- the file ------------------------------------------------------------------------------------------------------


def test_the_file_holds_what_was_told_last_when_it_is_closed(tmp_path: Path) -> None:
    path = tmp_path / "state of the run.json"
    outlet = StateFile(path)
    for number in range(1, 51):
        outlet.put(numbered(number))
    outlet.close()
    outlet.close()
    assert json.loads(path.read_text("utf-8"))["sequence"] == 50
    assert [each.name for each in tmp_path.iterdir()] == [path.name]  # nothing half-written is left


def test_whoever_reads_the_file_meanwhile_always_finds_it_whole_and_never_an_older_one(tmp_path: Path) -> None:
    path = tmp_path / "state.json"
    outlet = StateFile(path)
    seen = []
    for number in range(1, 301):
        outlet.put(numbered(number, pad=5000))
        seen.append(json.loads(path.read_text("utf-8")).get("sequence", 0))
    outlet.close()
    assert seen == sorted(seen)


def test_a_disk_that_does_not_take_it_delays_nobody_and_gets_the_newest_afterwards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    outlet = StateFile(tmp_path / "state.json")
    write, stuck, go_on, written = state_file.write_whole, threading.Event(), threading.Event(), []

    def slow(path: Path, content: str, **options: Any) -> None:
        stuck.set()
        assert go_on.wait(PATIENCE_S)
        written.append(json.loads(content)["sequence"])
        write(path, content, **options)

    monkeypatch.setattr(state_file, "write_whole", slow)
    outlet.put(numbered(1))
    assert stuck.wait(PATIENCE_S)
    for number in range(2, 1001):
        outlet.put(numbered(number))  # returns, though nothing is written
    assert written == []
    go_on.set()
    outlet.close()
    assert written == [1, 1000]


def test_a_write_that_fails_is_made_good_by_the_next_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    outlet = StateFile(tmp_path / "state.json")
    write, failed = state_file.write_whole, threading.Event()

    def failing(path: Path, content: str, **options: Any) -> None:
        if not failed.is_set():
            failed.set()
            raise OSError("somebody reads it")
        write(path, content, **options)

    monkeypatch.setattr(state_file, "write_whole", failing)
    outlet.put(numbered(1))
    assert failed.wait(PATIENCE_S)
    outlet.put(numbered(2))
    outlet.close()
    assert json.loads((tmp_path / "state.json").read_text("utf-8"))["sequence"] == 2


@pytest.mark.parametrize(
    ("target", "words"),
    [
        pytest.param("nowhere/state.json", r"nowhere/state\.json: state: .*cannot be written", id="no such folder"),
        pytest.param("tcp:99999", r"state: 'tcp:99999' names no port", id="no such port"),
        pytest.param("tcp:", r"state: 'tcp:' names no port", id="no port"),
        pytest.param("tcp:-1", r"state: 'tcp:-1' names no port", id="below zero"),
    ],
)
def test_a_place_that_is_none_is_told_before_anything_is_opened(
    target: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=words):
        open_outlet(target)


# --- the socket ----------------------------------------------------------------------------------------------------


def test_every_reader_gets_every_state_and_one_that_comes_late_the_newest_at_once(
    read: Callable[[int], Reader],
) -> None:
    outlet = StateSocket(0)
    reading = [read(outlet.port), read(outlet.port)]
    outlet.put(numbered(1))
    assert [next(each)["sequence"] for each in reading] == [1, 1]
    outlet.put(numbered(2))
    outlet.put(numbered(3))
    assert [[next(each)["sequence"] for each in reading] for _ in range(2)] == [[2, 2], [3, 3]]
    late = read(outlet.port)
    assert next(late)["sequence"] == 3
    outlet.put(numbered(4))
    outlet.close()
    outlet.close()
    assert [each.numbers() for each in (*reading, late)] == [[4], [4], [4]]


def test_one_that_never_reads_delays_neither_the_run_nor_the_others_and_skips_what_it_could_not_take(
    read: Callable[[int], Reader],
) -> None:
    outlet = StateSocket(0)
    asleep, awake = read(outlet.port), read(outlet.port)
    outlet.put(numbered(0))
    got = [next(awake)["sequence"]]  # both are let in
    for number in range(1, 501):  # 15 MB: more than any system keeps for somebody who does not read
        outlet.put(numbered(number, pad=30_000))
        if number % 2 == 0:
            while got[-1] < number:
                got.append(next(awake)["sequence"])
    assert got == list(range(501))
    outlet.close()
    late = asleep.numbers()  # what it was sent, in order, none twice, some left out
    assert late == sorted(set(late))
    assert 0 < len(late) < 500


def test_what_a_reader_says_changes_nothing_and_one_that_closes_its_own_side_still_listens(
    read: Callable[[int], Reader],
) -> None:
    outlet = StateSocket(0)
    talking = read(outlet.port)
    talking.socket.sendall(b'{"still": true}\nstop\n' * 1000)
    talking.socket.shutdown(socket.SHUT_WR)
    outlet.put(numbered(1))
    assert next(talking)["sequence"] == 1
    outlet.put(numbered(2))
    assert next(talking)["sequence"] == 2
    outlet.close()


def test_readers_may_leave_at_any_time_and_others_come_in_their_place(read: Callable[[int], Reader]) -> None:
    outlet = StateSocket(0)
    for number in range(1, 2 * MOST_READERS):
        outlet.put(numbered(number))
        reader = read(outlet.port)
        assert next(reader)["sequence"] >= number - 1
        reader.socket.close()
    outlet.close()


def test_the_port_is_this_computers_and_nobody_else_can_take_it_meanwhile() -> None:
    outlet = StateSocket(0)
    with pytest.raises(InputError, match=rf"cannot be told at 127\.0\.0\.1:{outlet.port}"):
        StateSocket(outlet.port)
    outlet.close()
    again = StateSocket(outlet.port)
    again.close()


# --- both, as a run has them ---------------------------------------------------------------------------------------


def test_it_is_told_anew_each_second_though_nothing_changes(read: Callable[[int], Reader]) -> None:
    """By real time, for who reads it has no other; it waits for the second message, however long that takes."""
    with publishing_state(("tcp:0",), "a job", SystemClock(), Noting(noted := [])) as progress:
        reader = read(int(noted[0].rpartition(":")[2]))
        progress.state(RunState("held", still=True, segment=2, segments=3))
        told = []
        while len([line for line in told if line["phase"] == "held"]) < 2:
            told.append(next(reader))
    told += list(reader)
    first, second = [line for line in told if line["phase"] == "held"][:2]
    assert (first["still"], second["still"]) == (True, False)  # nobody has looked since
    assert datetime.fromisoformat(second["time"]) > datetime.fromisoformat(first["time"])
    assert [line["sequence"] for line in told] == list(range(told[0]["sequence"], told[0]["sequence"] + len(told)))


class Noting(SilentProgress):
    """Keeps its notes."""

    def __init__(self, notes: list[str]) -> None:
        self._notes = notes

    def note(self, text: str) -> None:
        self._notes.append(text)


def test_a_run_that_fails_before_it_begins_leaves_a_file_that_says_so(tmp_path: Path) -> None:
    path = tmp_path / "state.json"
    with (
        pytest.raises(InputError, match="no port"),
        publishing_state((str(path),), "a job", SystemClock(), SilentProgress()),
    ):
        raise InputError("no port is named", "Name one")
    left = json.loads(path.read_text("utf-8"))
    assert (left["phase"], left["outcome"], left["still"], left["gate_open"]) == ("failed", "failed", False, False)
