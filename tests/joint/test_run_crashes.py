"""A run that crashes at any instant: resumed, no pass is skipped and none repeated unless somebody was asked."""

from pathlib import Path

import pytest

from firmware_host.errors import (
    InputError,
    RunNotBegunError,
    StandstillError,
)
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.replay import replay
from tests.support.crashes import (
    ALL,
    SEEKS_BACKWARD,
    Crash,
    CrashingJournal,
    die,
    dies_in,
    every_pass_once,
    resume_truthfully,
    revive,
    stopped,
)
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import Phase, StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def crashing(monkeypatch: pytest.MonkeyPatch) -> type[CrashingJournal]:
    monkeypatch.setattr("firmware_host.station.run.Journal", CrashingJournal)
    monkeypatch.setattr("firmware_host.station.resume.Journal", CrashingJournal)
    monkeypatch.setattr(CrashingJournal, "lines", 0)
    return CrashingJournal


@pytest.mark.slow
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
            with pytest.raises(RunNotBegunError, match=r"nothing was moved: .* Start the job again"):
                bench.resume()
            continue
        if replay(read_journal(bench.folder.journal)).record.outcome == "done":
            with pytest.raises(InputError, match="the run is done"):
                bench.resume()
            continue
        resume_truthfully(bench)
        every_pass_once(bench)
        asked += len(bench.asked)
    # one more than begin, zero, three times (move, standstill, two times three for the passes), finish, finished, end
    assert at == 30
    # asked where the gate may have been open, until the pass is said to be done: at two lines for each of six passes
    assert asked == 12


@pytest.mark.parametrize(
    "second", [4, *(pytest.param(number, marks=pytest.mark.slow) for number in (1, 2, 3, 5, 6, 7))]
)
def test_a_crash_of_the_resumed_run_is_survived_as_well(
    second: int, tmp_path: Path, crashing: type[CrashingJournal]
) -> None:
    for first in range(3, 31, 2):
        bench = StationBench(tmp_path / f"{first}", small_setup())
        die(bench, crashing, first, "after")
        with pytest.raises(Crash):
            bench.run()
        revive(bench, crashing)
        if replay(read_journal(bench.folder.journal)).record.outcome == "done":
            continue
        die(bench, crashing, second, "after")
        try:
            resume_truthfully(bench)
        except Crash:
            revive(bench, crashing)
            if replay(read_journal(bench.folder.journal)).record.outcome != "done":
                resume_truthfully(bench)
        crashing.dies_at = 0
        every_pass_once(bench)


@pytest.mark.some(3)
@pytest.mark.parametrize("phase", ["moving", "settling", "gate-open"])
@pytest.mark.parametrize("job", ["shaft-scale", "heavy-shaft"])
def test_a_crash_between_two_lines_is_survived_and_a_move_under_way_is_waited_for(
    phase: Phase, job: str, tmp_path: Path
) -> None:
    bench = StationBench(tmp_path, small_setup(job), **(SEEKS_BACKWARD if job == "heavy-shaft" else {}))
    dies_in(bench, phase)
    with pytest.raises(Crash):
        bench.run()
    bench.port.lost = False
    if phase == "moving":
        bench.greeting_s = 0.02  # nobody waits long enough for it to stop
        with pytest.raises(StandstillError, match="it is moving"):
            bench.resume()
    revive(bench)
    # with the port dead from the instant of the crash, the end could be journalled but the axis not be stopped
    assert journal_lines(bench.folder.journal)[-1]["stands_still"] is False
    assert bench.resume().outcome == "done"
    assert bench.asked == ([(1, 1)] if phase == "gate-open" else [])
    for key in ALL:
        assert bench.passes_marked().count(key) == 1 + bench.asked.count(key)
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}


def test_an_axis_paused_in_the_middle_of_a_move_is_let_go_and_the_run_is_resumed(tmp_path: Path) -> None:
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
