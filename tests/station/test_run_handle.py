"""A run in a thread of its own: watched, answered and stopped from other threads."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

import firmware_host as fh
from firmware_host.clock import ScaledClock
from firmware_host.errors import InputError, LimitExceededError, PortUnavailableError, RunStoppedError, StoppedError
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.run_handle import RunEvent, RunEventKind, start_run
from firmware_host.station.runs.folder import RunFolder
from tests.support.station_bench import changed_setup, quick_disk, small_setup
from tests.support.three_segments import own_folders

PATIENCE_S = 60.0


@pytest.fixture(autouse=True)
def own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)
    own_folders(tmp_path, monkeypatch)


@pytest.fixture
def clock() -> ScaledClock:
    return ScaledClock(10.0)


def served(setup: fh.Setup, clock: ScaledClock) -> Iterator[str]:
    device = simulated_device(setup.machine, delivered=False, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        yield server.url


@pytest.fixture
def port(clock: ScaledClock) -> Iterator[str]:
    yield from served(small_setup(), clock)


@pytest.fixture
def homing_port(clock: ScaledClock) -> Iterator[str]:
    yield from served(homing_setup(), clock)


def homing_setup() -> fh.Setup:
    return small_setup().with_values({"axis.home_switch": True})


def kinds(events: list[RunEvent]) -> list[RunEventKind]:
    return [event.kind for event in events]


def test_whoever_holds_the_handle_answers_the_gate_and_every_reader_gets_every_event(
    port: str, clock: ScaledClock
) -> None:
    """The job's own gate asks for Enter at each of its six passes; two threads read what the run tells."""
    run = start_run(small_setup(), port, clock=clock)
    seen: list[RunEvent] = []
    reader = threading.Thread(target=lambda: seen.extend(run.events()))
    reader.start()
    told = []
    for event in run.events():
        told.append(event)
        if event.kind is RunEventKind.TELL and event.text.startswith("STANDSTILL: mark"):
            run.answer()
    record = run.join(PATIENCE_S)
    reader.join(PATIENCE_S)
    assert not run.running
    assert (record.outcome, record.done, record.step_errors) == ("done", 6, (0,) * 6)
    assert seen == told
    assert told[-1] == RunEvent(RunEventKind.ENDED, "done")
    assert [event.segment for event in told if event.kind is RunEventKind.STANDSTILL] == [1, 2, 3]
    assert [(event.passes, event.of) for event in told if event.kind is RunEventKind.PROGRESS] == [
        (number, 6) for number in range(1, 7)
    ]
    assert run.folder is not None
    assert all(finding.holds for finding in fh.verify_run(RunFolder(run.folder)))


def test_a_stop_from_another_thread_ends_the_pass_with_the_gate_closed(port: str, clock: ScaledClock) -> None:
    run = start_run(small_setup(), port, clock=clock)
    told = []
    for event in run.events():
        told.append(event)
        if event.kind is RunEventKind.TELL and event.text.startswith("STANDSTILL: mark segment 1"):
            run.stop("by the page")
    with pytest.raises(RunStoppedError, match="by the page"):
        run.join(PATIENCE_S)
    assert "GATE CLOSED: do not mark." in [event.text for event in told]
    assert RunEventKind.PROGRESS not in kinds(told)
    assert "by the page" in told[-1].text
    (listed,) = fh.list_runs(Path("runs"))
    assert listed.path == run.folder


def test_a_stop_from_another_thread_does_not_wait_for_the_home_switch(homing_port: str, clock: ScaledClock) -> None:
    run = start_run(homing_setup(), homing_port, clock=clock)
    told = []
    for event in run.events():
        told.append(event)
        if event.text == "seeking the home switch":
            run.stop()
    with pytest.raises(RunStoppedError, match="by the program"):
        run.join(PATIENCE_S)
    assert RunEventKind.ZERO not in kinds(told)  # it would have been set had the switch been waited for


def test_a_stop_before_the_controller_is_open_says_so_and_leaves_no_folder(clock: ScaledClock) -> None:
    with socket.create_server(("127.0.0.1", 0)) as mute:  # takes callers and says nothing
        run = start_run(small_setup(), f"socket://127.0.0.1:{mute.getsockname()[1]}", clock=clock)
        caller, _ = mute.accept()
        with caller:
            run.stop()
            with pytest.raises(StoppedError, match=r"^stopped \(by the program\) while opening the controller"):
                run.join(PATIENCE_S)
    assert list(Path("runs").iterdir()) == []


def test_a_stop_does_not_wait_for_a_connection_and_one_that_comes_late_is_given_back(
    clock: ScaledClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, answered, closed = threading.Event(), threading.Event(), threading.Event()

    class Late:
        def close(self) -> None:
            closed.set()

    def dial(*arguments: object, **options: object) -> Late:
        asked.set()
        assert answered.wait(PATIENCE_S)
        return Late()

    monkeypatch.setattr("serial.serial_for_url", dial)
    run = start_run(small_setup(), "socket://far.example:1", clock=clock)
    assert asked.wait(PATIENCE_S)
    run.stop()
    with pytest.raises(StoppedError, match="while opening the controller"):
        run.join(PATIENCE_S)
    assert not closed.is_set()
    answered.set()
    assert closed.wait(PATIENCE_S)
    for thread in threading.enumerate():
        if thread.name == "opening":
            thread.join(PATIENCE_S)


def test_what_can_be_refused_at_once_is_refused_before_a_thread_is_started(port: str, clock: ScaledClock) -> None:
    threads = threading.active_count()
    setup = changed_setup("shaft-scale", index={"acceleration": "60000 deg/s^2", "speed": "600 deg/s"})
    with pytest.raises(LimitExceededError, match="torque-accelerating"):
        start_run(setup, port, clock=clock)
    with pytest.raises(InputError, match="no port is named"):
        start_run(small_setup(), clock=clock)
    assert threading.active_count() == threads
    assert not Path("runs").exists()


def test_what_fails_in_the_thread_is_raised_by_join_and_told_as_the_last_event(clock: ScaledClock) -> None:
    run = start_run(small_setup(), "socket://127.0.0.1:1", clock=clock)
    with pytest.raises(PortUnavailableError, match=r"127\.0\.0\.1:1") as caught:
        run.join(PATIENCE_S)
    assert list(run.events()) == [RunEvent(RunEventKind.ENDED, str(caught.value))]
    assert fh.list_runs(Path("runs")) == ()


def test_a_block_that_raises_stops_its_run_and_one_that_ends_waits_for_it(port: str, clock: ScaledClock) -> None:
    with pytest.raises(KeyError, match="mine"), start_run(small_setup(), port, clock=clock) as run:
        raise KeyError("mine")
    assert not run.running
    with start_run(small_setup(), port, clock=clock, gate=lambda context: TimedGate(context, 0.1), zero="here") as run:
        with pytest.raises(TimeoutError, match="the run is not over after 0 s"):
            run.join(0.0)
    assert run.join(0.0).outcome == "done"


def test_a_run_is_told_from_another_thread_to_hold_to_skip_and_to_repeat(port: str, clock: ScaledClock) -> None:
    """It holds until it is to carry on; meanwhile one pass is wished again, and a segment away."""
    wished: list[tuple[int, int] | None] = []
    with start_run(small_setup(), port, clock=clock, passes="1-2") as run:
        assert run.repeat_pass() is None
        run.hold()
        for event in run.events():
            if event.text == "held" and event.state is not None and event.state.number == 1:
                run.carry_on()
            elif event.text.startswith("STANDSTILL: mark segment 1 of 3, pass 2") and not wished:
                wished.append(run.repeat_pass())
                run.skip_segment(2)
            if event.text.startswith("STANDSTILL: mark"):
                run.answer()
        record = run.join(PATIENCE_S)
    assert (record.outcome, record.done, record.skipped, record.not_asked_for) == ("done", 2, 2, (3,))
    assert wished == [(1, 2)]
    assert [entry.repeats for entry in record.passes] == [0, 1, 0, 0]


def test_segments_that_the_job_does_not_have_are_refused_before_the_run_begins(clock: ScaledClock) -> None:
    with pytest.raises(InputError, match="no segment 9"):
        start_run(small_setup(), "socket://127.0.0.1:9", clock=clock, passes="9")
