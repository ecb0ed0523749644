"""What was measured by pulse on the recorded boards, measured again on the simulated ones."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from firmware_host.simulator import NumberedLineDevice
from firmware_host.simulator.numbered_line.recorded import RECORDED
from tests.simulator.numbered_line.bench import NumberedBench

A, B = "numbered-line-a", "numbered-line-b"
SAMPLE_S = 2e-5


class RecordedBench(NumberedBench):
    """A recorded board on the bench, as delivered but for those of `settings` that it has."""

    def __init__(self, name: str, **settings: float) -> None:
        super().__init__()
        board = RECORDED[name]
        given = {key.replace("_", " "): value for key, value in settings.items()}
        given = {key: value for key, value in given.items() if key in board.initial_settings()}
        self.device = NumberedLineDevice(replace(board, settings={**board.settings, **given}))
        self.greeting = self.wait(board.boot_loss_s)

    def step_times(self, words: str, duration_s: float) -> list[tuple[float, int]]:
        """Sample a move: when the count of X became another one, and how many steps came at once."""
        last, found = self.steps("X"), list[tuple[float, int]]()
        self.ask(words, 0.0)
        for _ in range(math.ceil(duration_s / SAMPLE_S)):
            self.now_s += SAMPLE_S
            if (steps := self.device.steps_at("X", self.now_s)) != last:
                found.append((self.now_s, abs(steps - last)))
                last = steps
        return found

    def lasts_s(self, *lines: str) -> float:
        """How long the last of these lines has the motor turn."""
        self.run_for(lines)
        interval = self.device.motion_log[-1]
        return interval.end_s - interval.start_s

    def run_for(self, lines: tuple[str, ...]) -> None:
        for words in lines:
            self.ask(words, 0.05)
            while self.moving():
                self.wait(0.01)


def lasts_s(distance: float, speed: float, acceleration: float, jump: float = 0.0) -> float:
    """A trapezoid from `jump` up to `speed` and down to it again."""
    return 2 * (speed - jump) / acceleration + (distance - (speed**2 - jump**2) / acceleration) / speed


@pytest.mark.parametrize(("jump", "first_rate"), [(25.0, 909), (5.0, 182), (1.0, 36)], ids=str)
def test_a_start_is_half_of_the_stored_speed_jump_and_so_is_the_end(jump: float, first_rate: float) -> None:
    bench = RecordedBench(A, M207_X=jump, M202_X=10.0)
    times = bench.step_times("G1 X2 F12000", 1.0)
    # 182 and 36 steps/s = 2.5 and 0.5 units/s at 72.72 steps a unit, as measured; the ramp of 10 units/s^2 adds to it
    speed = math.sqrt((jump / 2) ** 2 + 4 * 10 / 72.72)
    assert first_rate <= 1 / (times[1][0] - times[0][0]) <= speed * 72.72 * 1.05
    assert 1 / (times[-1][0] - times[-2][0]) == pytest.approx(1 / (times[1][0] - times[0][0]), rel=0.35)


@pytest.mark.parametrize(
    ("words", "move", "acceleration"),
    [
        ("M202 X500", "G1 X100 F6000", 500),
        ("M202 X500", "G0 X100 F6000", 500),
        ("M201 X400", "G1 X100 F6000", 1000),
        ("M201 X400", "G1 X100 E0.1 F6000", 400),
    ],
    ids=["travel", "G0-too", "tool-word-s", "with-a-tool-word"],
)
def test_the_travel_acceleration_governs_a_plain_move_and_another_one_a_move_with_a_tool_word(
    words: str, move: str, acceleration: float
) -> None:
    told = RecordedBench(A).lasts_s(words, move)
    assert told == pytest.approx(lasts_s(100, 100, acceleration, 12.5), rel=0.003)


@pytest.mark.parametrize(
    ("words", "move", "acceleration"),
    [
        (("M204 T800", "M201 X3000"), "G1 X100 F6000", 800),
        (("M204 T800", "M201 X400"), "G1 X100 F6000", 400),
        (("M204 P500", "M204 T3000"), "G1 X100 E0.1 F6000", 500),
        (("M201 X399.9",), "G0 X100 F6000", 399),
    ],
    ids=["travel", "the-axis", "tool", "whole"],
)
def test_the_smaller_of_two_whole_accelerations_governs_a_plain_move_on_the_other_board(
    words: tuple[str, ...], move: str, acceleration: float
) -> None:
    told = RecordedBench(B).lasts_s(*words, move)
    assert told == pytest.approx(lasts_s(100, 100, acceleration), rel=0.02)


@pytest.mark.parametrize("scale", [26.66667, 80.0, 88.888889], ids=str)
def test_the_second_step_comes_a_120th_of_a_second_after_the_first_whatever_the_scale(scale: float) -> None:
    bench = RecordedBench(B, M92_X=scale)
    times = bench.step_times("G1 X10 F600", 0.05)
    assert times[0][0] - bench.now_s + 0.05 == pytest.approx(0.0, abs=1e-4)
    assert times[1][0] - times[0][0] == pytest.approx(1 / 120, abs=1e-4)
    assert times[2][0] - times[1][0] < 1 / 200


@pytest.mark.parametrize(("name", "highest"), [(A, 39_700), (B, 55_000)], ids=[A, B])
def test_more_steps_a_second_than_a_board_makes_take_longer_and_none_is_lost(name: str, highest: float) -> None:
    bench = RecordedBench(name, M92_X=400.0, M203_X=1000.0, M201_X=1e6, M202_X=1e6, M204_T=1e6, M207_X=10.0)
    times = bench.step_times("G1 X20 F12000", 0.5)
    assert sum(steps for _, steps in times) == 8000
    middle = times[len(times) // 3 : 2 * len(times) // 3]
    rate = sum(steps for _, steps in middle[1:]) / (middle[-1][0] - middle[0][0])
    assert rate == pytest.approx(highest, rel=0.02)


@pytest.mark.parametrize(
    ("name", "rate", "size"),
    [(A, 10_000, 1), (A, 15_000, 2), (A, 30_000, 4), (B, 7_000, 1), (B, 26_700, 2)],
    ids=["a-singly", "a-twos", "a-fours", "b-singly", "b-twos"],
)
def test_above_a_rate_the_steps_come_several_at_a_time(name: str, rate: float, size: int) -> None:
    bench = RecordedBench(name, M92_X=100.0, M201_X=1e5, M202_X=1e5, M204_T=1e5, M203_X=1000.0)
    times = bench.step_times(f"G1 X30 F{rate / 100 * 60:.0f}", 0.8)
    middle = [steps for _, steps in times[len(times) // 3 : 2 * len(times) // 3]]
    assert sorted(middle)[len(middle) // 2] == size


def test_moves_of_one_step_are_made_on_one_board_and_left_out_and_made_up_for_on_the_other() -> None:
    for name, made in ((A, [1, 2, 3, 4, 5, 6, 7]), (B, [0, 0, 0, 0, 0, 6, 6])):
        bench = RecordedBench(name, M92_X=100.0)
        steps = []
        for n in range(1, 8):
            bench.run_for((f"G1 X{n / 100:.2f} F600",))
            steps.append(bench.steps("X"))
        assert steps == made


def test_a_quick_stop_stands_within_a_step_and_is_answered_a_second_later() -> None:
    bench = RecordedBench(B)
    bench.ask("G1 X100 F6000", 0.5)
    before = bench.steps("X")
    assert bench.ask("M410", 0.9) == []
    said = bench.ask("M114", 0.2)
    assert said[0] == "ok"
    assert abs(bench.steps("X") - before) <= 3
    assert said[1].endswith(f"Count X:{bench.steps('X')} Y:0 Z:0")


def test_a_quick_stop_is_not_read_while_a_sync_waits() -> None:
    bench = RecordedBench(B)
    bench.ask("G1 X20 F600", 0.1)
    bench.ask("M400", 0.1)
    bench.ask("M410", 4.0)
    assert bench.steps("X") == 1600


def test_a_board_halted_for_ever_hears_nothing_but_a_reset() -> None:
    bench = RecordedBench(B)
    bench.ask("G1 X100 F600", 0.5)
    assert bench.ask("M112", 10.0) == ["echo:M112 Shutdown", "Error:Printer halted. kill() called!"]
    for words in ("M114", "M999", "M400"):
        assert bench.ask(words, 5.0) == []
    assert not bench.moving()
    bench.device.hardware_reset(bench.now_s)
    assert "start" in bench.wait(1.0)
