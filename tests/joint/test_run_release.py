"""The motor after a run that ended early: energised, unless it was to be released; and only where it stands still."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.errors import (
    ControllerError,
    FirmwareHostError,
    PortLostError,
    RunStoppedError,
    StandstillError,
)
from firmware_host.station.passes.control import RunControl
from firmware_host.station.resume import resume_run
from firmware_host.station.run import run_job
from firmware_host.station.runs.status import Place, run_status
from tests.support.board_faults import trip_limit_switch
from tests.support.crashes import SEEKS_BACKWARD
from tests.support.journal_lines import journal_lines
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import Phase, StationBench, quick_disk, small_setup

WORDS = {"status-query": "$SLP", "numbered-line": "M84"}
BENCHES: dict[str, Callable[[Path], StationBench]] = {
    "status-query": lambda path: StationBench(path, small_setup("bottle-band")),
    "numbered-line": lambda path: NumberedBench(path, small_setup("bottle-band"), NUMBERED_LINE_BOARDS["plain"]),
}
PHASES: tuple[Phase, ...] = ("moving", "gate-open", "settling")
EVERY = [(dialect, phase) for dialect in BENCHES for phase in PHASES]


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def run(bench: StationBench, *, release: bool) -> None:
    with bench.open() as controller:
        run_job(bench.setup, bench.plan, replace(bench.station(controller), release_motor=release))


def released_later(bench: StationBench) -> bool:
    bench.clock.sleep(3600.0)
    return bench.device.released_at(bench.clock.monotonic())


def release_lines(bench: StationBench, dialect: str) -> list[str]:
    """Lines that let go of the motors: without a time-out behind the word."""
    word = WORDS[dialect]
    return [line for line in bench.sent_lines() if word in line and f"{word} S" not in line]


@pytest.mark.parametrize(("dialect", "phase"), EVERY)
def test_a_stopped_run_keeps_the_motor_holding_the_part(dialect: str, phase: Phase, tmp_path: Path) -> None:
    bench = BENCHES[dialect](tmp_path)
    bench.at(phase, lambda: bench.stop.ask("Ctrl-C"))
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        run(bench, release=False)
    assert release_lines(bench, dialect) == []
    assert not released_later(bench)


@pytest.mark.some(3)
@pytest.mark.parametrize(("dialect", "phase"), EVERY)
def test_a_motor_that_is_to_be_released_is_once_the_gate_is_closed_and_it_stands(
    dialect: str, phase: Phase, tmp_path: Path
) -> None:
    bench = BENCHES[dialect](tmp_path)
    seen: list[tuple[bool, bool, str]] = []

    def look(data: bytes) -> None:
        if WORDS[dialect].encode() in data and WORDS[dialect].encode() + b" S" not in data:
            seen.append((bench.moving, bench.gate.is_open, journal_lines(bench.folder.journal)[-1]["event"]))

    watched = bench.port.on_write
    bench.port.on_write = lambda data: (watched(data), look(data))[0]
    bench.at(phase, lambda: bench.stop.ask("Ctrl-C"))
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        run(bench, release=True)
    assert seen == [(False, False, "release")]  # at a standstill, gate shut, journalled first
    assert released_later(bench)
    end = journal_lines(bench.folder.journal)[-1]
    assert (end["event"], end["stands_still"], end["position_lost"]) == ("end", True, True)
    found = run_status(bench.folder)
    assert (found.place, found.why) == (
        Place.BY_HAND,
        "the motor was released when the run ended, as it was asked for",
    )
    with pytest.raises(ControllerError, match="cannot be proved"):
        bench.resume()
    bench.progress.origin = bench.steps
    assert bench.resume(zero="here").outcome == "done"
    assert not bench.device.released_at(bench.clock.monotonic())


@pytest.mark.parametrize("dialect", BENCHES)
def test_a_run_that_comes_to_its_end_does_not_release_the_motor(dialect: str, tmp_path: Path) -> None:
    bench = BENCHES[dialect](tmp_path)
    run(bench, release=True)
    assert release_lines(bench, dialect) == []
    assert not released_later(bench)


@pytest.mark.parametrize("dialect", BENCHES)
def test_an_axis_that_was_not_seen_to_stand_is_not_released(dialect: str, tmp_path: Path) -> None:
    bench = BENCHES[dialect](tmp_path)
    bench.at("moving", bench.port.pull_cable)
    with pytest.raises(PortLostError, match="the cable is pulled"):
        run(bench, release=True)
    assert release_lines(bench, dialect) == []
    events = [event["event"] for event in journal_lines(bench.folder.journal)]
    assert "release" not in events
    assert run_status(bench.folder).stands_still is False


def refuses_to_release(bench: StationBench) -> None:
    """From now on the board knows no word that releases its motors, as some don't."""
    real = bench.device.receive
    unknown = lambda data: data.replace(b"$SLP", b"$FOO")  # noqa: E731
    bench.device.receive = lambda data, now_s: real(unknown(data), now_s)  # type: ignore[method-assign]


def test_a_release_that_the_controller_refuses_is_told_and_the_run_is_resumed_where_it_stands(tmp_path: Path) -> None:
    bench = BENCHES["status-query"](tmp_path)
    refuses_to_release(bench)
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"))
    with pytest.raises(RunStoppedError, match="Ctrl-C") as caught:
        run(bench, release=True)
    assert any("refused to release the motor" in note for note in caught.value.__notes__)
    assert not released_later(bench)
    asked, answered, end = journal_lines(bench.folder.journal)[-3:]
    assert (asked["event"], asked["refused"]) == ("release", "")
    assert (answered["event"], answered["refused"]) == ("release", "no such $ line")
    assert (end["event"], end["stands_still"], end["position_lost"]) == ("end", True, False)
    found = run_status(bench.folder)
    assert found.place is not Place.BY_HAND
    assert "released" not in found.why
    assert bench.resume().outcome == "done"


@pytest.mark.parametrize("dialect", BENCHES)
def test_a_controller_asked_to_release_without_a_stop_refuses_and_sends_nothing(dialect: str, tmp_path: Path) -> None:
    bench = BENCHES[dialect](tmp_path)
    with bench.open() as controller:
        controller.prepare()
        sent = len(bench.port.written)
        with pytest.raises(StandstillError, match="not seen to stand still"):
            controller.release()
        assert len(bench.port.written) == sent


def test_a_run_that_has_not_moved_yet_leaves_the_motor_as_it_is(tmp_path: Path) -> None:
    bench = BENCHES["status-query"](tmp_path)
    with bench.open() as controller:
        station = replace(bench.station(controller), release_motor=True)
        bench.stop.ask("Ctrl-C")  # open, and nothing has moved: a stop asked for before ends the opening
        with pytest.raises(RunStoppedError, match="Ctrl-C"):
            run_job(bench.setup, bench.plan, station)
    assert release_lines(bench, "status-query") == []


def test_a_resumed_run_releases_as_well(tmp_path: Path) -> None:
    bench = BENCHES["status-query"](tmp_path)
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"))
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        run(bench, release=False)
    bench.control = RunControl()
    bench.at("gate-open", lambda: bench.stop.ask("again"))
    with bench.open(drop_held_motion=True) as controller:
        station = replace(bench.station(controller), release_motor=True)
        with pytest.raises(RunStoppedError, match="again"):
            resume_run(station, ask=lambda entry: False)
    assert len(release_lines(bench, "status-query")) == 1


def test_after_an_alarm_a_zero_set_anew_unlocks_and_says_so(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup("bottle-band"), stored={"$21": 1})
    bench.at("gate-open", lambda: trip_limit_switch(bench.device, bench.clock.monotonic()))
    with pytest.raises(FirmwareHostError, match=r"alarm|locked"):
        bench.run()
    with pytest.raises(ControllerError, match=r"cannot be proved: the controller is locked"):
        bench.resume()
    assert not any("$X" in line for line in bench.sent_lines())
    told: list[str] = []
    bench.progress.note = told.append  # type: ignore[method-assign]
    bench.progress.origin = bench.steps
    assert bench.resume(zero="here").outcome == "done"
    assert bench.sent_lines().count("$X") == 1
    assert "the controller is locked after an alarm or a reset; it is unlocked now" in told


def test_a_machine_with_a_home_switch_homes_instead_of_being_unlocked(tmp_path: Path) -> None:
    options = {**SEEKS_BACKWARD, "stored": {**SEEKS_BACKWARD["stored"], "$21": 1}}
    bench = StationBench(tmp_path, small_setup("heavy-shaft"), **options)
    bench.at("gate-open", lambda: trip_limit_switch(bench.device, bench.clock.monotonic()))
    with pytest.raises(FirmwareHostError, match=r"alarm|locked"):
        bench.run()
    assert bench.resume().outcome == "done"
    assert "$X" not in bench.sent_lines()
