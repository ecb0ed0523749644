"""What is told of a run that did not come to its end, in each way it can end; and that what is told is what happens."""

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from firmware_host.acts import Resume
from firmware_host.cli.screen.advice import command
from firmware_host.errors import (
    ControllerError,
    FirmwareHostError,
    GateTimeoutError,
    LinkError,
    MotorReleasedError,
    SettingsMismatchError,
)
from firmware_host.reporting.runs.run import status_notes
from firmware_host.station.gates.operator import OperatorGate
from firmware_host.station.journal.events import Resume as Resumed
from firmware_host.station.journal.events import Zero
from firmware_host.station.journal.journal import Journal
from firmware_host.station.run import RunLoop
from firmware_host.station.runs.listing import list_runs
from firmware_host.station.runs.status import Place, RunStatus, run_status
from firmware_host.station.runs.verify import verify_run
from firmware_host.station.zero import ZeroAt
from firmware_host.system.console import command_line
from tests.joint.test_run_faults import trip
from tests.support.board_faults import counter_at
from tests.support.crashes import SEEKS_BACKWARD, Crash, revive, stopped
from tests.support.journal_lines import as_schema1
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import Phase, StationBench, quick_disk, small_setup

Act = Callable[[StationBench], None]


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """And a process that is gone does nothing any more."""
    quick_disk(monkeypatch)
    end_failed = RunLoop._end_failed
    monkeypatch.setattr(
        RunLoop, "_end_failed", lambda loop, error: None if isinstance(error, Crash) else end_failed(loop, error)
    )


def stop(bench: StationBench) -> None:
    bench.stop.ask("Ctrl-C")


def crash(bench: StationBench) -> None:
    bench.port.pull_cable()
    raise Crash


def reset(bench: StationBench) -> None:
    bench.device.hardware_reset(bench.clock.monotonic())


def sleep(bench: StationBench) -> None:
    bench.strangers_line("$SLP")


def pull(bench: StationBench) -> None:
    bench.port.pull_cable()


COMPLAINTS: dict[Act, str] = {
    stop: r"stopped \(Ctrl-C\)",
    crash: "^$",
    reset: "it was reset",
    sleep: "it is asleep",
    trip: "alarm|locked",
    pull: "the cable is pulled",
}


def plain(path: Path, **options: Any) -> StationBench:
    return StationBench(path, small_setup("bottle-band"), **options)


def numbered(path: Path) -> StationBench:
    return NumberedBench(path, small_setup("bottle-band"), NUMBERED_LINE_BOARDS["plain"])


def homing(path: Path) -> StationBench:
    return StationBench(path, small_setup("heavy-shaft"), **SEEKS_BACKWARD)


@dataclass(frozen=True)
class End:
    """One way to end; `told` are words that must be among what is told."""

    phase: Phase
    act: Act
    state: str
    place: Place
    told: tuple[str, ...]
    make: Callable[[Path], StationBench] = plain
    set_right: Act = field(default=lambda bench: None)
    """What a person does before the run is resumed, besides turning the part."""


UNKNOWN = ("Segment 1, pass 1: its gate was open", "You are asked about it when the run is resumed.")
AS_LEFT = ("Position: the axis was left at microstep 0 from the job's zero.",)
ENDS = {
    "operator": End("gate-open", stop, "stopped", Place.AS_LEFT, (*UNKNOWN, *AS_LEFT)),
    "operator-moving": End("moving", stop, "stopped", Place.AS_LEFT, ("was left between microsteps 0 and 802",)),
    "operator-moving-numbered": End(
        "moving", stop, "stopped", Place.AS_LEFT, ("was left between microsteps 0 and 802",), numbered
    ),
    "operator-standing-numbered": End("gate-open", stop, "stopped", Place.AS_LEFT, (*UNKNOWN, *AS_LEFT), numbered),
    "operator-homes": End("gate-open", stop, "stopped", Place.HOMES, (*UNKNOWN, "will seek its home switch"), homing),
    "operator-at-machine-zero": End(
        "gate-open", stop, "stopped", Place.BY_HAND, (*UNKNOWN, "Position lost: it stands at machine zero"),
        lambda path: plain(path, away=0),
    ),
    "crash": End("gate-open", crash, "crashed", Place.AS_LEFT, (*UNKNOWN, *AS_LEFT), set_right=revive),
    "crash-moving": End("moving", crash, "crashed", Place.AS_LEFT, ("between microsteps",), set_right=revive),
    "crash-moving-numbered": End(
        "moving", crash, "crashed", Place.AS_LEFT, ("between microsteps",), numbered, set_right=revive
    ),
    "lost-port": End(
        "gate-open", pull, "failed", Place.AS_LEFT,
        ("could not be seen to stand still", *UNKNOWN, *AS_LEFT), set_right=revive,
    ),
    "alarm": End(
        "gate-open", trip, "failed", Place.BY_HAND, (*UNKNOWN, "Position lost: the run ended with: controller:"),
        lambda path: plain(path, stored={"$21": 1}),
    ),
    "board-reset": End(
        "gate-open", reset, "failed", Place.BY_HAND, (*UNKNOWN, "it was reset: its position is lost"),
    ),
    "motor-released": End(
        "gate-open", sleep, "failed", Place.BY_HAND, (*UNKNOWN, "it is asleep, not ready"),
    ),
}  # fmt: skip


def end_it(end: End, tmp_path: Path) -> tuple[StationBench, RunStatus]:
    bench = end.make(tmp_path)
    bench.at(end.phase, lambda: end.act(bench))
    with pytest.raises((FirmwareHostError, Crash), match=COMPLAINTS[end.act]):
        bench.run()
    return bench, run_status(bench.folder)


def status_lines(status: RunStatus) -> list[str]:
    return list(status_notes(status).lines)


@pytest.mark.some(6)
@pytest.mark.parametrize("name", ENDS)
def test_the_status_of_a_run_that_ended_says_what_resuming_it_does(name: str, tmp_path: Path) -> None:
    end = ENDS[name]
    bench, found = end_it(end, tmp_path)
    lines = status_lines(found)
    assert (found.state, found.place) == (end.state, end.place)
    for words in end.told:
        assert any(words in line for line in lines), (words, lines)
    asks = end.phase == "gate-open"
    assert found.acts == (Resume(str(bench.folder.path), zero="here" if end.place is Place.BY_HAND else "", asks=asks),)
    assert len(found.unknown) == (1 if asks else 0)
    bench.port.spoil = lambda data: data
    end.set_right(bench)
    if end.place is Place.BY_HAND:
        with pytest.raises(ControllerError, match=r"cannot be proved|is locked"):
            bench.resume()
        bench.progress.origin = bench.steps
    zero: ZeroAt | None = "here" if end.place is Place.BY_HAND else None
    assert bench.resume(zero=zero).outcome == "done"
    assert [(entry.segment, entry.number) for entry in found.unknown] == bench.asked
    done = run_status(bench.folder)
    assert (status_lines(done), done.acts) == ([], ())


def test_a_gate_that_times_out_is_told_with_the_pass_and_the_place(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup("bottle-band"), gate=lambda context: OperatorGate(context, 5.0))
    with pytest.raises(GateTimeoutError, match="nobody confirmed within 5 s that the pass is done"):
        bench.run()
    lines = status_lines(run_status(bench.folder))
    assert all(any(words in line for line in lines) for words in (*UNKNOWN, *AS_LEFT))


def test_a_run_refused_before_its_zero_tells_that_nothing_was_marked(tmp_path: Path) -> None:
    bench = plain(tmp_path, stored={"$1": 25})
    with pytest.raises(SettingsMismatchError, match="motor release delay"):
        bench.run()
    found = run_status(bench.folder)
    assert status_lines(found) == [
        "Nothing was marked yet.",
        "Position: no zero was set; the job's zero will be where the part stands.",
    ]
    assert found.acts == (Resume(str(bench.folder.path)),)
    bench.device.settings.write("$1", 255.0)
    assert bench.resume().outcome == "done"


# --- what resuming tells -------------------------------------------------------------------------------------------


def notes(bench: StationBench) -> list[str]:
    told: list[str] = []
    bench.progress.note = told.append  # type: ignore[method-assign]
    return told


def test_resuming_says_what_was_found_before_it_asks_and_what_becomes_of_the_answer(tmp_path: Path) -> None:
    bench, _ = end_it(ENDS["operator"], tmp_path)
    told = notes(bench)
    bench.resume(done=True)
    assert told == [
        "the run stopped (Ctrl-C); 0 of 6 passes are marked",
        "the axis stands at microstep 0 from the job's zero, where the run left it",
        "segment 1, pass 1: taken for done, it will not be marked again",
    ]


@pytest.mark.parametrize(
    ("name", "zero", "words"),
    [
        ("crash", None, "the run has no end: it crashed; 0 of 6"),
        ("operator-homes", None, "the axis seeks its home switch again"),
        ("operator", "here", "the job's zero is where the part stands now"),
        ("operator", None, "segment 1, pass 1: not done, it will be marked again"),
    ],
    ids=["crashed", "homes", "set-anew", "not-done"],
)
def test_resuming_says_how_it_ended_and_where_its_zero_comes_from(
    name: str, zero: ZeroAt | None, words: str, tmp_path: Path
) -> None:
    bench, _ = end_it(ENDS[name], tmp_path)
    bench.port.spoil = lambda data: data
    ENDS[name].set_right(bench)
    told = notes(bench)
    bench.resume(zero=zero)
    assert any(words in note for note in told), told


# --- a motor that was released -------------------------------------------------------------------------------------


def test_a_motor_released_since_the_run_stopped_has_lost_the_position_for_good(tmp_path: Path) -> None:
    """Another program releases the motor; the count stays, so only the setting says that the part may turn."""
    bench = stopped(tmp_path)
    bench.device.settings.write("$1", 25.0)
    for _ in range(2):
        with pytest.raises(ControllerError, match=r"cannot be proved: the motor is released 25 ms after a move"):
            bench.resume()
    bench.device.settings.write("$1", 255.0)
    with pytest.raises(ControllerError, match=r"cannot be proved: the controller was found .*its motor released"):
        bench.resume()
    assert bench.asked == []
    assert bench.resume(zero="here").outcome == "done"


def test_a_motor_that_slept_is_not_trusted_though_the_board_kept_its_count(tmp_path: Path) -> None:
    bench = plain(tmp_path)
    bench.at("gate-open", lambda: sleep(bench))
    with pytest.raises(MotorReleasedError, match="it is asleep, not ready"):
        bench.run()
    bench.closed_before_anything_else()
    bench.port.spoil = lambda data: data
    steps = bench.steps
    bench.device.receive(b"\x18", bench.clock.monotonic())  # woken by somebody; nobody hears the greeting
    bench.clock.sleep(2.0)
    bench.device.transmit(bench.clock.monotonic())
    bench.raw("$X", wait_s=1.0)
    assert counter_at(bench.device, bench.axis, bench.clock.monotonic()) == steps
    with pytest.raises(ControllerError, match=r"cannot be proved: the run ended with: .*it is asleep"):
        bench.resume()


# --- a run that somebody is at work on -----------------------------------------------------------------------------


def test_a_run_at_work_is_told_from_a_crashed_one(tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    folder = bench.folder
    bench.port.lost = False
    with Journal(folder.journal, bench.clock) as journal:
        journal.write(Resumed(zero=Zero.AS_LEFT))
        assert (run_status(folder).state, run_status(folder).under_way) == ("running", True)
        assert status_lines(run_status(folder)) == ["A process is working on this run now."]
        assert [run.state for run in list_runs(folder.path.parent)] == ["running"]
        with pytest.raises((LinkError, FirmwareHostError), match="another process is writing this run"):
            bench.resume()
    assert run_status(folder).state == "crashed"
    assert [run.state for run in list_runs(folder.path.parent)] == ["crashed"]


def test_a_path_with_a_blank_is_quoted_in_the_command(tmp_path: Path) -> None:
    bench, _ = end_it(ENDS["operator"], tmp_path / "my runs")
    assert [command(act) for act in run_status(bench.folder).acts] == [
        f"circumstep {command_line(['resume', str(bench.folder.path)])}"
    ]


def test_a_folder_is_looked_at_without_planning_its_job_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The journal holds what is needed; one of schema 1 does not, and is planned again for its last position alone."""
    bench, found = end_it(ENDS["operator-moving"], tmp_path)

    def planned(*arguments: Any, **options: Any) -> Any:
        raise AssertionError("planned again")

    for name, module in list(sys.modules.items()):
        if name.startswith("firmware_host.") and hasattr(module, "plan_job"):
            monkeypatch.setattr(module, "plan_job", planned)
    assert run_status(bench.folder) == found
    assert [run.state for run in list_runs(bench.folder.path.parent)] == ["stopped"]
    assert all(finding.holds for finding in verify_run(bench.folder))
    as_schema1(bench.folder.journal)
    assert [run.state for run in list_runs(bench.folder.path.parent)] == ["stopped"]
    assert all(finding.holds for finding in verify_run(bench.folder))
    with pytest.raises(AssertionError, match="planned again"):
        run_status(bench.folder)
