"""A run that crashes at any instant: resumed, no pass is skipped and none repeated unless somebody was asked."""

import errno
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware_host.clock import Clock
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    InputError,
    JournalError,
    NotAtRestError,
)
from firmware_host.model import Setup
from firmware_host.station.journal import Journal, read_journal
from firmware_host.station.record import make_record
from firmware_host.station.resume import Zero, unknown_passes
from tests.support.station_bench import Phase, StationBench, quick_disk, small_setup

SEEKS_BACKWARD: dict[str, Any] = {"stored": {"$23": 8, "$22": 1}, "home_switches": {"A": -2000}}
"""A switch on the side away from the job, so that it can be found again wherever the run stopped."""
ALL = [(segment, number) for segment in (1, 2, 3) for number in (1, 2)]


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


class Crash(BaseException):
    """The process is gone: nothing that follows reaches the board or the disk."""


class CrashingJournal(Journal):
    """Dies at the n-th line (from 1): before it, in the middle of it, or right after it is on the disk."""

    lines = 0
    dies_at = 0
    how = "before"
    on_death: Callable[[], None] = staticmethod(lambda: None)

    def __init__(self, path: Path, clock: Clock) -> None:
        super().__init__(path, clock)
        self._dead = False

    def write(self, event: str, **fields: Any) -> None:
        if self._dead:
            raise JournalError(str(self._path), "the process is gone")
        kind = CrashingJournal
        kind.lines += 1
        if kind.lines != kind.dies_at:
            super().write(event, **fields)
            return
        self._dead = True
        if kind.how == "after":
            super().write(event, **fields)
        elif kind.how == "torn":
            os.write(self._file, b'{"n":%d,"t":"2026' % self._next)
        kind.on_death()
        raise Crash


@pytest.fixture
def crashing(monkeypatch: pytest.MonkeyPatch) -> type[CrashingJournal]:
    monkeypatch.setattr("firmware_host.station.run.Journal", CrashingJournal)
    monkeypatch.setattr("firmware_host.station.resume.Journal", CrashingJournal)
    monkeypatch.setattr(CrashingJournal, "lines", 0)
    return CrashingJournal


def die(bench: StationBench, crashing: type[CrashingJournal], at: int, how: str) -> None:
    """Let the process die at that many lines from now: the port is dead, too."""
    crashing.lines, crashing.dies_at, crashing.how = 0, at, how
    crashing.on_death = staticmethod(bench.port.pull_cable)


def revive(bench: StationBench, crashing: type[CrashingJournal] | None = None) -> None:
    """A new process: the gate of the old one closed with it, and the port can be opened again."""
    if crashing is not None:
        crashing.dies_at = 0
    bench.gate.close()
    bench.port.lost = False
    bench.clock.sleep(30.0)
    bench.device.transmit(bench.clock.monotonic())  # what the board said meanwhile nobody heard


def resume_truthfully(bench: StationBench) -> None:
    """Go on; whoever is asked about a pass says what is true: it is marked if the gate was open for it."""
    unknown = [(entry.segment, entry.number) for entry in unknown_passes(bench.folder)]
    assert len(unknown) <= 1
    marked = unknown[0] in bench.passes_marked() if unknown else False
    assert bench.resume(done=marked).outcome == "done"


def every_pass_once(bench: StationBench) -> None:
    assert sorted(bench.passes_marked()) == ALL
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}
    bench.never_open_while_moving()
    if bench.plan.route.one_side:
        bench.approached_from_below()
    record = make_record(read_journal(bench.folder.journal))
    assert record.outcome == "done"
    assert record.done == len(ALL)
    assert bench.steps == bench.progress.origin


@pytest.mark.parametrize(
    ("job", "how"),
    [("shaft-scale", "before"), ("shaft-scale", "torn"), ("shaft-scale", "after"), ("bottle-band", "after")],
    ids=["before", "torn", "after", "rollers-after"],
)
def test_a_crash_at_any_line_of_the_journal_loses_and_repeats_no_pass(
    job: str, how: str, tmp_path: Path, crashing: type[CrashingJournal]
) -> None:
    asked = 0
    for at in range(1, 1000):
        bench = StationBench(tmp_path / f"{at}", small_setup(job))
        die(bench, crashing, at, how)
        try:
            bench.run()
        except Crash:
            revive(bench, crashing)
        else:
            break
        if at == 1 and how != "after":
            with pytest.raises(JournalError, match="holds no whole line: the run never began"):
                bench.resume()
            continue
        if make_record(read_journal(bench.folder.journal)).outcome == "done":
            with pytest.raises(InputError, match="the run is done"):
                bench.resume()
            continue
        resume_truthfully(bench)
        every_pass_once(bench)
        asked += len(bench.asked)
    assert (
        at == 30
    )  # one more than begin, zero, three times (move, at-rest, two times three for the passes), finish, finished, end
    # asked where the gate may have been open, until the pass is said to be done: at two lines for each of six passes
    assert asked == 12


@pytest.mark.parametrize("second", [1, 2, 3, 4, 5, 6, 7])
def test_a_crash_of_the_resumed_run_is_survived_as_well(
    second: int, tmp_path: Path, crashing: type[CrashingJournal]
) -> None:
    for first in range(3, 31, 2):
        bench = StationBench(tmp_path / f"{first}", small_setup())
        die(bench, crashing, first, "after")
        with pytest.raises(Crash):
            bench.run()
        revive(bench, crashing)
        if make_record(read_journal(bench.folder.journal)).outcome == "done":
            continue
        die(bench, crashing, second, "after")
        try:
            resume_truthfully(bench)
        except Crash:
            revive(bench, crashing)
            if make_record(read_journal(bench.folder.journal)).outcome != "done":
                resume_truthfully(bench)
        crashing.dies_at = 0
        every_pass_once(bench)


@pytest.mark.parametrize("phase", ["moving", "settling", "gate-open"])
@pytest.mark.parametrize("job", ["shaft-scale", "heavy-shaft"])
def test_a_crash_between_two_lines_is_survived_and_a_move_under_way_is_waited_for(
    phase: Phase, job: str, tmp_path: Path
) -> None:
    bench = StationBench(tmp_path, small_setup(job), **(SEEKS_BACKWARD if job == "heavy-shaft" else {}))

    def crash() -> None:
        bench.port.pull_cable()
        raise Crash

    bench.at(phase, crash)
    with pytest.raises(Crash):
        bench.run()
    bench.port.lost = False
    if phase == "moving":
        bench.greeting_s = 0.02  # nobody waits long enough for it to stop
        with pytest.raises(NotAtRestError, match="it is moving"):
            bench.resume()
    revive(bench)
    # with the port dead from the instant of the crash, the end could be journalled but the axis not be stopped
    assert read_journal(bench.folder.journal)[-1]["stands_still"] is False
    assert bench.resume().outcome == "done"
    assert bench.asked == ([(1, 1)] if phase == "gate-open" else [])
    for key in ALL:
        assert bench.passes_marked().count(key) == 1 + bench.asked.count(key)
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}


def test_an_axis_held_in_the_middle_of_a_move_is_let_go_and_the_run_goes_on(tmp_path: Path) -> None:
    """The process died between the hold and the reset of its own stop."""
    bench = StationBench(tmp_path, small_setup("bottle-band"))

    def crash() -> None:
        bench.device.receive(b"!", bench.clock.monotonic())
        bench.port.pull_cable()
        raise Crash

    bench.at("moving", crash)
    with pytest.raises(Crash):
        bench.run()
    revive(bench)
    assert bench.resume().outcome == "done"
    every_pass_once(bench)


# --- when it may not go on -------------------------------------------------------------------------------------


def stopped(tmp_path: Path, setup: Setup | None = None, **options: Any) -> StationBench:
    """A run that died in the second segment's first pass."""
    bench = StationBench(tmp_path, setup or small_setup(), **options)

    def crash() -> None:
        bench.port.pull_cable()
        raise Crash

    bench.at("gate-open", crash, rests=2)
    with pytest.raises(Crash):
        bench.run()
    revive(bench)
    return bench


def refused(bench: StationBench, kind: type[Exception], complaint: str) -> None:
    moves, before = bench.sent_moves(), bench.folder.journal.read_bytes()
    with pytest.raises(kind, match=complaint):
        bench.resume()
    assert bench.sent_moves() == moves
    assert bench.asked == []
    assert bench.folder.journal.read_bytes() == before


@pytest.mark.parametrize(
    ("greets", "complaint"),
    [(True, "the controller was reset since"), (False, "it stands at machine zero")],
    ids=["greeting", "silent"],
)
def test_a_controller_that_was_reset_since_cannot_go_on_but_from_a_zero_set_anew(
    greets: bool, complaint: str, tmp_path: Path
) -> None:
    """Silent: the greeting went unheard, as of a board that was switched off and on while no port was open."""
    bench = stopped(tmp_path)
    bench.device.hardware_reset(bench.clock.monotonic())
    if not greets:
        bench.clock.sleep(1.0)
        bench.device.transmit(bench.clock.monotonic())
    refused(bench, ControllerError, rf"{complaint}.*--zero set-anew")
    bench.progress.origin = bench.steps  # somebody turns the part to the job's zero by hand: wherever the motor is
    record = bench.resume(zero=Zero.SET_ANEW)
    assert record.outcome == "done"
    assert bench.asked == [(2, 1)]
    assert {true - planned for _, planned, _, true in bench.progress.rests[2:]} == {0}


@pytest.mark.parametrize("steps", [1, -1, 300, 100_000])
def test_an_axis_that_was_moved_since_cannot_go_on(steps: int, tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    scale = bench.device.settings[f"${100 + bench.index}"]
    bench.raw(f"G21 G90 G53 G1 {bench.axis}{(bench.steps + steps) / scale:.5f} F2000", wait_s=5000.0)
    refused(bench, ControllerError, "where the run did not leave it")


def test_a_locked_controller_cannot_go_on(tmp_path: Path) -> None:
    bench = stopped(tmp_path, stored={"$21": 1})
    bench.device.trip_limit_switch(bench.clock.monotonic())
    bench.clock.sleep(1.0)
    bench.device.transmit(bench.clock.monotonic())
    refused(bench, ControllerError, "is locked")
    with pytest.raises(ControllerFaultError, match="locked"):
        bench.resume(zero=Zero.SET_ANEW)


def test_a_machine_with_a_home_switch_homes_again_whatever_happened_to_the_board(tmp_path: Path) -> None:
    bench = stopped(tmp_path, small_setup("heavy-shaft"), **SEEKS_BACKWARD)
    bench.device.hardware_reset(bench.clock.monotonic())
    bench.clock.sleep(1.0)
    bench.device.transmit(bench.clock.monotonic())
    assert bench.resume().outcome == "done"
    assert bench.sent_lines().count("$H") == 2
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}
    assert bench.asked == [(2, 1)]


def test_a_job_changed_since_is_refused(tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    document = json.loads(bench.folder.setup.read_text("utf-8"))
    document["job"]["mark"]["passes"] = 3
    bench.folder.setup.write_text(json.dumps(document), encoding="utf-8")
    refused(bench, JournalError, "was changed since the run began")


def test_targets_that_another_version_would_plan_otherwise_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = stopped(tmp_path)
    other = StationBench(tmp_path / "other", small_setup("bottle-band"))
    monkeypatch.setattr("firmware_host.station.resume.plan_job", lambda setup: other.plan)
    refused(bench, JournalError, "gives other targets than the journal holds")


def test_a_finished_run_is_refused(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.run()
    refused(bench, InputError, "the run is done: nothing is left")


def test_a_damaged_journal_is_refused(tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    data = bench.folder.journal.read_bytes()
    bench.folder.journal.write_bytes(data.replace(b'"target":611', b'"target":612', 1))
    refused(bench, JournalError, "is damaged")


def test_a_run_that_somebody_else_is_writing_is_refused(tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    with Journal(bench.folder.journal, bench.clock):
        refused(bench, JournalError, "another process is writing this run")


def test_an_answer_once_given_is_not_asked_for_again(tmp_path: Path, crashing: type[CrashingJournal]) -> None:
    bench = stopped(tmp_path)
    die(bench, crashing, 3, "before")  # resume and assumed are on the disk, the new zero isn't
    with pytest.raises(Crash):
        bench.resume(done=True)
    revive(bench, crashing)
    assert bench.asked == [(2, 1)]
    assert bench.resume().outcome == "done"
    assert bench.asked == [(2, 1)]
    assert sorted(bench.passes_marked()) == ALL


# --- a disk that fills up --------------------------------------------------------------------------------------


@pytest.mark.parametrize("call", ["write", "fsync"])
def test_a_full_disk_stops_the_run_before_the_act_it_could_not_journal(
    call: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real: Callable[..., Any] = getattr(os, call)
    failures = 0
    for at in range(1, 1000):
        bench = StationBench(tmp_path / f"{at}", small_setup(), known=False)
        disk = FillingDisk(bench, real, at)
        with monkeypatch.context() as patch:
            patch.setattr(os, call, disk.call)
            patch.setattr(Journal, "write", disk.journal_write(Journal.write))
            try:
                bench.run()
            except JournalError as error:
                failures += "No space left on device" in str(error)
            else:
                break
        assert not bench.gate.is_open
        assert not bench.moving
        if not bench.folder.journal.exists():
            assert bench.sent_moves() == []
            continue
        if disk.acts_at_failure is not None:
            assert disk.acts() == disk.acts_at_failure
        events = read_journal(bench.folder.journal)
        if events and make_record(events).outcome != "done":
            resume_truthfully(bench)
            every_pass_once(bench)
    assert failures == at - 1 >= 28  # every line of the journal at least


class FillingDisk:
    """Takes so many calls and no more; knows what had been done when a line of the journal failed."""

    def __init__(self, bench: StationBench, real: Callable[..., Any], takes: int) -> None:
        self._bench = bench
        self._real = real
        self._takes = takes
        self.acts_at_failure: tuple[int, int] | None = None

    def call(self, *arguments: Any) -> Any:
        self._takes -= 1
        if self._takes < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return self._real(*arguments)

    def acts(self) -> tuple[int, int]:
        """Moves sent and gate openings."""
        return len(self._bench.sent_moves()), len(self._bench.gate.opened)

    def journal_write(self, write: Callable[..., None]) -> Callable[..., None]:
        def noted(journal: Journal, event: str, **fields: Any) -> None:
            try:
                write(journal, event, **fields)
            except JournalError:
                self.acts_at_failure = self.acts_at_failure or self.acts()
                raise

        return noted
