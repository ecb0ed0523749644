"""The two numbered-line boards that were measured, simulated: what is learned of them, and how soon they are proved."""

from __future__ import annotations

import random
from dataclasses import fields, replace
from fractions import Fraction
from statistics import median

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.learned import Learned
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.errors import LineRejectedError
from firmware_host.planning.route.velocity import plan_index
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.recorded import RECORDED
from tests.controller.numbered_line.test_recorded_boards import learned
from tests.support.bench import Bench
from tests.support.memory_port import MemoryPort

NAMES = tuple(RECORDED)
_FEED = 3000
_SOONEST_JUMP = 0.02
"""units/s: a start so near standstill that a plain ramp is the plan."""


def board(name: str) -> Bench[NumberedLineDevice]:
    variant = RECORDED[name]
    if "M207 X" in variant.more_settings:
        variant = replace(variant, more_settings={**variant.more_settings, "M207 X": _SOONEST_JUMP})
    clock = VirtualClock()
    device = NumberedLineDevice(variant)
    return Bench(clock, device, MemoryPort(device, clock), MemoryTrace(clock), NumberedLineDialect(), "X")


def but_times(record: Learned) -> dict[str, object]:
    """The record without what a simulated board can't have alike."""
    return {
        field.name: getattr(record, field.name)
        for field in fields(record)
        if field.name not in ("answer_s", "start_jump_units_per_s")
    }


@pytest.mark.parametrize("name", NAMES)
def test_the_same_is_learned_of_the_simulated_board_as_of_the_recorded_one(name: str) -> None:
    simulated = board(name).open().learned
    assert but_times(simulated) == but_times(learned(name.replace("-", "_")))
    assert simulated.answer_s.value == pytest.approx(0.007, abs=0.004)


@pytest.mark.parametrize("name", NAMES)
def test_a_standstill_is_proved_soon_after_the_last_step_and_never_before_it(name: str) -> None:
    bench = board(name)
    controller = bench.ready()
    scale = controller.settings.steps_per_unit.value
    acceleration = float(controller.settings.acceleration_units_per_s2.value)
    draw, at, after_s = random.Random(13), 0, []
    for _ in range(25):
        target = at + draw.choice((1, -1)) * draw.randint(6, 900) if at > 1000 else at + draw.randint(6, 900)
        duration_s = float(plan_index(abs(target - at) / float(scale), acceleration, _FEED / 60).duration)
        if name == "numbered-line-b":
            duration_s += 1 / 120  # the second step of a move comes late on it
        accepted_s = controller.move_to(f"{float(Fraction(target) / scale):.5f}", str(_FEED))
        proof = controller.wait_for_standstill(
            target_steps=target,
            steps_per_unit=scale,
            accepted_at_s=accepted_s,
            planned_duration_s=duration_s,
            deadline_s=accepted_s + duration_s + 10.0,
        )
        last_s = max(travel.end_s for travel in bench.device.motion_log)
        assert proof.since_s >= last_s
        assert bench.steps == target
        after_s.append(proof.at_s - last_s)
        at = target
    assert median(after_s) < 0.030
    assert max(after_s) < 0.060


def test_a_move_beyond_the_travel_is_refused_and_nothing_moves() -> None:
    bench = board("numbered-line-a")
    controller = bench.ready()
    with pytest.raises(LineRejectedError, match="beyond the travel"):
        controller.move_to("-5", "600")
    assert bench.steps == 0
    controller.move_to("5", "600")


@pytest.mark.parametrize(("name", "words"), [("numbered-line-a", "M503"), ("numbered-line-b", "M202 X5")])
def test_a_word_that_the_board_lacks_is_told(name: str, words: str) -> None:
    controller = board(name).ready()
    with pytest.raises(LineRejectedError, match="a word the controller does not know"):
        controller.ask(words.encode() + b"\n")
