"""The two numbered-line boards that were measured, simulated: what is learned of them, and how soon they are proved."""

from __future__ import annotations

import random
from dataclasses import fields, replace
from fractions import Fraction
from statistics import median

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.controller import Controller
from firmware_host.controller.learned import Learned
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.errors import FirmwareHostError, LineRejectedError
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


class NoisyPort(MemoryPort):
    """Spoils one byte in a thousand, either way, once `noise` is set."""

    noise: random.Random | None = None

    def _depart(self, data: bytes) -> bytes:
        return noisy(data, self.noise)

    def _arrive(self, data: bytes) -> bytes:
        return noisy(data, self.noise)


class NoisyBench(Bench[NumberedLineDevice]):
    """A board behind a line that can be spoilt."""

    port: NoisyPort


def noisy(data: bytes, draw: random.Random | None) -> bytes:
    """One byte in a thousand lost, changed, or joined by another."""
    heard = bytearray()
    for byte in data:
        harm = draw.choice(("lost", "changed", "joined")) if draw is not None and draw.random() < 1e-3 else ""
        heard += b"" if harm in ("lost", "changed") else bytes([byte])
        heard += bytes([draw.randrange(33, 127)]) if draw is not None and harm in ("changed", "joined") else b""
    return bytes(heard)


def board(name: str) -> NoisyBench:
    variant = RECORDED[name]
    if "M207 X" in variant.more_settings:
        variant = replace(variant, more_settings={**variant.more_settings, "M207 X": _SOONEST_JUMP})
    clock = VirtualClock()
    device = NumberedLineDevice(variant)
    return NoisyBench(clock, device, NoisyPort(device, clock), MemoryTrace(clock), NumberedLineDialect(), "X")


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


def moved(bench: Bench[NumberedLineDevice], controller: Controller, draw: random.Random, count: int) -> list[float]:
    """Make `count` moves of mixed length; how long after the last step each standstill was proved (s), never before."""
    scale = controller.settings.steps_per_unit.value
    acceleration = float(controller.settings.acceleration_units_per_s2.value)
    late_s = controller.learned.first_step_wait_s.value
    at, after_s = 0, []
    for _ in range(count):
        target = at + (draw.choice((1, -1)) if at > 1000 else 1) * draw.randint(6, 900)
        duration_s = late_s + float(plan_index(abs(target - at) / float(scale), acceleration, _FEED / 60).duration)
        accepted_s = controller.move_to(f"{float(Fraction(target) / scale):.5f}", str(_FEED))
        proof = controller.wait_for_standstill(
            target_steps=target,
            steps_per_unit=scale,
            accepted_at_s=accepted_s,
            planned_duration_s=duration_s,
            deadline_s=accepted_s + duration_s + 30.0,
        )
        last_s = max(travel.end_s for travel in bench.device.motion_log)
        assert proof.since_s >= last_s
        assert bench.steps == target
        after_s.append(proof.at_s - last_s)
        at = target
    return after_s


@pytest.mark.parametrize("name", NAMES)
def test_a_standstill_is_proved_soon_after_the_last_step_and_never_before_it(name: str) -> None:
    bench = board(name)
    after_s = moved(bench, bench.ready(), random.Random(13), 25)
    assert median(after_s) < 0.030
    assert max(after_s) < 0.060


@pytest.mark.parametrize("name", NAMES)
def test_noise_that_spoils_one_byte_in_a_thousand_costs_time_and_no_step(name: str) -> None:
    """Either way; a run that can't go on says so, but nearly all go on."""
    ended = 0
    for seed in range(6):
        draw, bench = random.Random(seed), board(name)
        controller = bench.ready()
        bench.port.noise = draw
        try:
            moved(bench, controller, draw, 20)
        except FirmwareHostError:
            continue
        ended += 1
    assert ended >= 5


def test_a_move_beyond_the_travel_is_refused_and_nothing_moves() -> None:
    bench = board("numbered-line-a")
    controller = bench.ready()
    with pytest.raises(LineRejectedError, match="the move was not made"):
        controller.move_to("-5", "600")
    assert bench.steps == 0
    controller.move_to("5", "600")


@pytest.mark.parametrize(("name", "words"), [("numbered-line-a", "M503"), ("numbered-line-b", "M202 X5")])
def test_a_word_that_the_board_lacks_is_told(name: str, words: str) -> None:
    controller = board(name).ready()
    with pytest.raises(LineRejectedError, match="a word the controller does not know"):
        controller.ask(words.encode() + b"\n")
