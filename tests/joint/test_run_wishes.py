"""What is wished of a run while it works: hold, carry on, skip a segment, repeat a pass; and only some segments."""

from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.errors import InputError, RunStoppedError, StandstillError
from firmware_host.station.journal.record import PassStatus, RunRecord
from firmware_host.station.passes.choice import PassChoice
from firmware_host.station.progress import Phase, RunState
from firmware_host.station.runs.listing import read_record
from firmware_host.station.runs.verify import verify_run
from tests.support.crashes import ALL
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import PASS_S, StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def bench(tmp_path: Path) -> StationBench:
    return StationBench(tmp_path, small_setup())


def when(bench: StationBench, phase: Phase, segment: int, number: int, act: Callable[[], object]) -> None:
    """Do `act` once, as soon as the run is at that phase of that pass."""
    before, due = bench.progress.on_state, [True]

    def look(state: RunState) -> None:
        before(state)
        if due and (state.phase, state.segment, state.number) == (phase, segment, number):
            due.clear()
            act()

    bench.progress.on_state = look


def in_a_while(bench: StationBench, wait_s: float, act: Callable[[], object]) -> None:
    """Do `act` once, at the first look of the run after that long (s)."""
    due_s, before, due = bench.clock.monotonic() + wait_s, bench.clock.on_sleep, [True]

    def look() -> None:
        before()
        if due and bench.clock.monotonic() >= due_s:
            due.clear()
            act()

    bench.clock.on_sleep = look


def statuses(record: RunRecord) -> dict[tuple[int, int], str]:
    return {(entry.segment, entry.number): entry.status for entry in record.passes}


def whole(bench: StationBench) -> None:
    bench.never_open_while_moving()
    bench.approached_from_below()
    assert [finding.detail for finding in verify_run(bench.folder) if not finding.holds] == []
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}


# --- hold ----------------------------------------------------------------------------------------------------------


@pytest.mark.some(1)
@pytest.mark.parametrize("phase", ["turning", "settling", "marking"])
def test_a_hold_keeps_the_gate_closed_and_the_axis_where_it_is_until_the_run_carries_on(
    phase: Phase, bench: StationBench
) -> None:
    at: list[tuple[float, int]] = []

    def held() -> None:
        at.append((bench.clock.monotonic(), bench.steps))
        in_a_while(bench, 300.0, lambda: (at.append((bench.clock.monotonic(), bench.steps)), bench.control.carry_on()))

    when(bench, phase, 2, 1, bench.control.hold)
    when(bench, "held", 2, 1, held)
    assert bench.run().outcome == "done"
    assert bench.passes_marked() == ALL
    (from_s, there), (to_s, still_there) = at
    assert to_s - from_s >= 300.0
    assert there == still_there
    assert not [opened for opened in bench.gate.opened if from_s < opened[0] < to_s]
    assert not [move for move in bench.device.motion_log if from_s < move.start_s < to_s]
    whole(bench)


def test_an_axis_that_moves_during_a_hold_is_noticed_before_the_gate_opens(bench: StationBench) -> None:
    when(bench, "marking", 2, 1, bench.control.hold)
    when(bench, "held", 2, 1, lambda: in_a_while(bench, 10.0, lambda: bench.raw(f"G1 {bench.axis}9 F2000", 0.2)))
    with pytest.raises(StandstillError, match="moving"):
        bench.run()
    assert bench.passes_marked() == ALL[:3]
    assert bench.progress.states[-1].phase == "failed"


def test_a_wish_to_hold_that_is_taken_back_holds_nothing(bench: StationBench) -> None:
    when(bench, "marking", 1, 1, bench.control.hold)
    when(bench, "marking", 1, 1, lambda: in_a_while(bench, PASS_S / 2, bench.control.carry_on))
    assert bench.run().outcome == "done"
    assert "held" not in {state.phase for state in bench.progress.states}
    assert not bench.control.holds


def test_a_stop_ends_a_hold_and_the_hold_is_forgotten_when_the_run_is_resumed(bench: StationBench) -> None:
    when(bench, "marking", 2, 1, bench.control.hold)
    when(bench, "held", 2, 1, lambda: in_a_while(bench, 5.0, bench.control.stop_now))
    with pytest.raises(RunStoppedError, match="by the operator"):
        bench.run()
    assert bench.progress.states[-1].phase == "stopped"
    bench.progress.on_state = lambda state: None
    assert bench.resume().outcome == "done"
    assert bench.passes_marked() == ALL


# --- skip ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("phase", ["turning", "settling"])
def test_a_segment_skipped_before_its_gate_opens_is_never_marked(phase: Phase, bench: StationBench) -> None:
    when(bench, phase, 2, 1, bench.control.skip_segment)
    record = bench.run()
    assert record.outcome == "done"
    assert bench.passes_marked() == [key for key in ALL if key[0] != 2]
    assert (record.done, record.skipped, len(record.passes)) == (4, 2, 6)
    assert statuses(record)[2, 1] == PassStatus.SKIPPED.value
    whole(bench)


def test_a_pass_that_is_being_marked_ends_at_once_when_its_segment_is_skipped(bench: StationBench) -> None:
    when(bench, "marking", 2, 2, lambda: in_a_while(bench, PASS_S / 2, bench.control.skip_segment))
    record = bench.run()
    assert bench.passes_marked() == ALL
    opened_s, closed_s, _ = bench.gate.opened[3]
    assert closed_s is not None
    assert closed_s - opened_s < PASS_S
    skipped = record.passes[3]
    assert (skipped.status, record.done, record.skipped) == ("skipped", 5, 1)
    assert skipped.gate_open is not None
    assert [line["segment"] for line in journal_lines(bench.folder.journal) if line["event"] == "skip"] == [2]
    whole(bench)


def test_a_wish_that_comes_late_never_strikes_the_next_segment(bench: StationBench) -> None:
    seen: list[int | None] = []
    when(bench, "marking", 1, 1, lambda: seen.append(bench.control.segment))
    when(bench, "marking", 2, 1, lambda: bench.control.skip_segment(seen[0]))
    record = bench.run()
    assert seen == [1]
    assert record.done == len(ALL)
    assert any("segment 1 is not skipped" in note for note in bench.progress.notes)


def test_skipped_passes_stay_skipped_when_the_run_is_resumed(bench: StationBench) -> None:
    when(bench, "turning", 2, 1, bench.control.skip_segment)
    when(bench, "marking", 3, 1, bench.control.stop_now)
    with pytest.raises(RunStoppedError, match="by the operator"):
        bench.run()
    record = bench.resume()
    assert bench.passes_marked() == [(1, 1), (1, 2), (3, 1), (3, 1), (3, 2)]
    assert statuses(record)[2, 2] == "skipped"
    assert (record.done, record.skipped) == (4, 2)


# --- repeat --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("phase", "segment", "number", "again"),
    [
        ("marking", 2, 1, (2, 1)),
        ("turning", 2, 1, (1, 2)),
        ("settling", 3, 1, (2, 2)),
        ("marking", 3, 2, (3, 2)),
    ],
    ids=["marking", "turning", "settling", "the-last"],
)
def test_a_repeated_pass_is_marked_once_more_and_recorded(
    phase: Phase, segment: int, number: int, again: tuple[int, int], bench: StationBench
) -> None:
    when(bench, phase, segment, number, bench.control.repeat_pass)
    record = bench.run()
    assert record.outcome == "done"
    assert bench.passes_marked() == [key for key in ALL for _ in range(1 + (key == again))]
    assert {(entry.segment, entry.number): entry.repeats for entry in record.passes if entry.repeats} == {again: 1}
    assert record.done == len(ALL)
    whole(bench)


def test_before_the_first_pass_there_is_none_to_repeat(bench: StationBench) -> None:
    said: list[object] = []
    when(bench, "turning", 1, 1, lambda: said.append(bench.control.repeat_pass()))
    when(bench, "done", 3, 2, lambda: said.append(bench.control.repeat_pass()))
    when(bench, "done", 3, 2, lambda: said.append(bench.control.skip_segment()))
    assert bench.run().done == len(ALL)
    assert said == [None, None, None]


def test_a_pass_that_was_to_be_repeated_stays_done_when_its_segment_is_skipped(bench: StationBench) -> None:
    when(bench, "marking", 2, 1, bench.control.repeat_pass)
    when(bench, "marking", 2, 1, lambda: bench.control.skip_segment(3))
    when(bench, "marking", 2, 1, bench.control.hold)
    when(bench, "held", 2, 1, lambda: in_a_while(bench, 1.0, bench.control.skip_segment))
    when(bench, "held", 2, 1, lambda: in_a_while(bench, 2.0, bench.control.carry_on))
    record = bench.run()
    assert bench.passes_marked() == ALL[:3]
    assert list(statuses(record).values()) == ["done", "done", "done", "skipped", "skipped", "skipped"]
    assert bench.progress.states[-1].done == 3
    whole(bench)


def test_a_repeat_that_was_wished_before_its_segment_is_skipped_falls_away_with_it(bench: StationBench) -> None:
    when(bench, "marking", 1, 2, bench.control.repeat_pass)
    when(bench, "marking", 1, 2, bench.control.skip_segment)
    record = bench.run()
    assert bench.passes_marked() == ALL
    assert (record.skipped, [entry.repeats for entry in record.passes]) == (1, [0] * 6)
    whole(bench)


# --- some segments -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("choice", "segments", "passes"),
    [
        (PassChoice.only("3"), (3,), 2),
        (PassChoice.only("1,3"), (1, 3), 2),
        (PassChoice.only("2-3", passes=1), (2, 3), 1),
        (PassChoice.only("2-"), (2, 3), 2),
    ],
    ids=["one", "list", "range-one-pass", "from"],
)
def test_only_the_chosen_segments_are_marked_and_the_others_are_not_missing(
    choice: PassChoice, segments: tuple[int, ...], passes: int, bench: StationBench
) -> None:
    record = bench.run(passes=choice)
    wanted = [(segment, number) for segment in segments for number in range(1, passes + 1)]
    assert bench.passes_marked() == wanted
    assert (record.outcome, record.done, len(record.passes)) == ("done", len(wanted), len(wanted))
    assert record.not_asked_for == tuple(sorted({1, 2, 3} - set(segments)))
    assert read_record(bench.folder) == record
    whole(bench)
    with pytest.raises(InputError, match="nothing is left"):
        bench.resume()


def test_a_run_of_some_segments_is_resumed_with_those_only(bench: StationBench) -> None:
    when(bench, "marking", 2, 2, bench.control.stop_now)
    with pytest.raises(RunStoppedError, match="by the operator"):
        bench.run(passes=PassChoice(first=2))
    record = bench.resume(done=True)
    assert bench.passes_marked() == [(2, 1), (2, 2), (3, 1), (3, 2)]
    assert (record.done, len(record.passes), record.not_asked_for) == (4, 4, (1,))


@pytest.mark.parametrize(
    ("choice", "problem"),
    [
        (PassChoice.only("4"), "there is no segment 4: the job has 3"),
        (PassChoice.only("0-2"), "there is no segment 0"),
        (PassChoice(first=4), "there is no segment 4"),
        (PassChoice.only([]), "no segment is chosen"),
        (PassChoice.only("1", passes=0), "0 passes are none"),
    ],
    ids=["beyond", "nought", "from-beyond", "none", "no-pass"],
)
def test_a_segment_that_the_job_does_not_have_is_refused_before_anything_begins(
    choice: PassChoice, problem: str, bench: StationBench
) -> None:
    with pytest.raises(InputError, match=problem):
        bench.run(passes=choice)
    assert not bench.folder.journal.exists()


@pytest.mark.parametrize("text", ["", "a", "3--", "-3", "4-2", "1-100001", "1;2", "1.5"])
def test_what_names_no_segments_is_told(text: str) -> None:
    with pytest.raises(InputError, match=r"names no segments|runs backward|too many"):
        PassChoice.only(text)


# --- what the run is at --------------------------------------------------------------------------------------------


def test_the_state_says_still_only_while_the_standstill_is_proved_and_watched(bench: StationBench) -> None:
    truly: list[tuple[RunState, bool]] = []
    when(bench, "marking", 2, 1, bench.control.hold)
    when(bench, "held", 2, 1, lambda: in_a_while(bench, 1.0, bench.control.carry_on))
    before = bench.progress.on_state

    def look(state: RunState) -> None:
        before(state)
        truly.append((state, bench.moving))

    bench.progress.on_state = look
    bench.run()
    assert not [state for state, moving in truly if state.still and moving]
    assert [state.phase for state, _ in truly if state.segment <= 1] == [
        *("preparing", "turning", "settling", "marking", "settling", "marking", "settling"),
    ]
    assert all(state.gate_open == (state.phase == "marking") for state, _ in truly)
    last = truly[-1][0]
    assert (last.phase, last.done, last.of, last.still) == ("done", 6, 6, False)
