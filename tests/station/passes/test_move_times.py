"""The first moves of a run against their planned time: a quicker board marks nothing, a right one is never stopped."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.errors import ControllerError
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.station.axis_mover import SentMove
from firmware_host.station.passes.move_times import least_time
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import StationBench, changed_setup, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def status_query(folder: Path) -> StationBench:
    return StationBench(folder, small_setup())


def numbered(folder: Path) -> StationBench:
    return NumberedBench(folder, small_setup(), NUMBERED_LINE_BOARDS["plain"])


BENCHES = [pytest.param(status_query, id="status-query"), pytest.param(numbered, id="numbered-line")]


def in_force_once_it_moves(bench: StationBench, times: float) -> None:
    """From the first move on the acceleration in force is so many times the one that was compared."""
    told = bench.progress.stage

    def stage(text: str) -> None:
        told(text)
        if text.startswith("moving to segment 2 of"):
            settings = bench.device.settings
            for key in (f"M201 {bench.axis}", "M204 T", f"${120 + bench.index}"):
                if key in settings:
                    settings[key] *= times

    bench.progress.stage = stage  # type: ignore[method-assign]


@pytest.mark.parametrize("make", BENCHES)
def test_a_board_with_another_acceleration_in_force_is_stopped_before_it_marks(
    make: Callable[[Path], StationBench], tmp_path: Path
) -> None:
    """Of 497 steps in 51 ms instead of 209 ms: the acceleration was 16 times the one compared."""
    bench = make(tmp_path)
    in_force_once_it_moves(bench, 16.0)
    with pytest.raises(ControllerError, match=r"made a move of \d+ steps in 0\.\d+ s at most, planned are 0\."):
        bench.run()
    assert {segment for segment, _ in bench.passes_marked()} <= {1}
    assert not bench.gate.is_open
    assert not bench.moving


@pytest.mark.some(5)
@pytest.mark.parametrize("make", BENCHES)
@pytest.mark.parametrize("times", [0.5, 1.0, 1.02], ids=["gentler", "as planned", "a little more"])
def test_a_right_board_is_never_stopped(make: Callable[[Path], StationBench], times: float, tmp_path: Path) -> None:
    bench = make(tmp_path)
    in_force_once_it_moves(bench, times)
    assert bench.run().outcome == "done"
    bench.never_open_while_moving()


@pytest.mark.parametrize("late_s", [0.02, 0.08, 0.3], ids=lambda late_s: f"{late_s} s late")
@pytest.mark.parametrize("board", ["status-query", "plain", *RECORDED])
def test_a_right_board_is_never_stopped_however_late_it_answers(board: str, late_s: float, tmp_path: Path) -> None:
    if board == "status-query":
        bench = StationBench(tmp_path, small_setup(), ok_delay_s=late_s, status_delay_s=late_s)
    else:
        kind = NUMBERED_LINE_BOARDS["plain"] if board == "plain" else RECORDED[board]
        bench = NumberedBench(tmp_path, small_setup(), kind, ok_delay_s=late_s, position_delay_s=late_s)
    assert bench.run().outcome == "done"
    bench.never_open_while_moving()


def test_a_board_that_tells_planned_places_and_says_idle_early_is_not_taken_for_a_quick_one(tmp_path: Path) -> None:
    planned = {"position_report": "planned", "sync_answered": "when-queued", "idle_early_s": 0.1, "idle_delay_s": 0.0}
    bench = StationBench(tmp_path, small_setup(), **planned)
    assert bench.run().outcome == "done"
    bench.never_open_while_moving()


def test_a_quick_board_that_answers_late_is_stopped_as_long_as_its_answer_tells(tmp_path: Path) -> None:
    """10 ms for an answer: those of a sync line and of the one after it still come well before the planned end."""
    setup = changed_setup("shaft-scale", index={"acceleration": "878 deg/s^2", "finish": "stay"})
    bench = NumberedBench(
        tmp_path, setup, NUMBERED_LINE_BOARDS["plain"], stored={"M201 A": 877.9}, ok_delay_s=0.01, position_delay_s=0.01
    )
    in_force_once_it_moves(bench, 16.0)
    with pytest.raises(ControllerError, match="made a move of"):
        bench.run()
    assert {segment for segment, _ in bench.passes_marked()} <= {1}


def test_moves_too_short_to_tell_are_said_to_tell_nothing(tmp_path: Path) -> None:
    setup = changed_setup("shaft-scale", mark={"arc": "10 mm", "width": "0.5 mm", "passes": 1},
                          segments={"count": 20}, index={"finish": "stay"})  # fmt: skip
    bench = StationBench(tmp_path, setup)
    notes: list[str] = []
    bench.progress.note = notes.append  # type: ignore[method-assign]
    assert bench.run().outcome == "done"
    assert sum("too short, or too long, to tell" in note for note in notes) == 1


def sent(steps: int, acceleration: float, rate: float = 1e5, start: float = 0.0) -> SentMove:
    return SentMove(steps, 0, 0.0, 0.0, rate, acceleration, start)


def test_the_least_time_of_the_recorded_move_lies_between_the_planned_one_and_the_quick_one() -> None:
    """By hand: 497 steps at 878 units/s^2 of 72.72 steps take 2 sqrt(497/63848) = 176 ms with no cap on the rate; at
    5,000 units/s^2 sqrt(878/5000) of that."""
    scale = 72.72
    planned = 2 * math.sqrt(497 / (878 * scale))
    least = least_time(sent(497, 878 * scale))
    assert 0.8 * planned < least < planned
    assert 2 * math.sqrt(497 / (5000 * scale)) < 0.5 * least


def test_a_ramp_in_whole_steps_is_never_quicker_than_the_least_time() -> None:
    """Each step at the latest when the ramp has come so far, the first at once: as quick as any board makes it."""
    for steps in (2, 3, 10, 100, 1000):
        for acceleration in (1e3, 1e5):
            ramp = math.sqrt(steps / acceleration)
            at = [math.sqrt(2 * n / acceleration) for n in range(steps // 2 + 1)]
            first, last = at[0], 2 * ramp - at[1] if steps > 1 else 0.0
            assert least_time(sent(steps, acceleration)) <= last - first


def test_a_jump_at_the_start_shortens_the_least_time() -> None:
    assert least_time(sent(500, 1e4, start=909.0)) < least_time(sent(500, 1e4))
    assert 0.9 * 0.498 <= least_time(sent(500, 1e4, rate=1000.0, start=2000.0)) <= 0.45
