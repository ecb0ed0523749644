"""`warm-up` on motors whose cooling is hidden: what is found, how often the interval holds, and when it stops."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from functools import cache

import pytest

from firmware_host.commissioning.procedures.motor.cycle import Cycle, cycle_of
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.errors import InputError
from firmware_host.mechanics.motor.heat import winding_rise
from tests.commissioning.procedures.motor.heavy_bench import (
    LooseHand,
    assert_as_stated,
    bench_with,
    by_key,
    measured,
    near,
)

AIR = 22.0
OFF = 1.0


@dataclass
class HiddenMotor:
    """A motor whose winding ends `rise` K above the air with `tau` s, its case at a part of that; read to `OFF` K.

    The case begins to warm `lag` s after its copper.
    """

    rise: float
    tau: float
    inside: float
    rng: random.Random
    exact: bool = False
    lag: float = 0.0
    began_s: float | None = None

    def reads(self, ask: Ask, hand: LooseHand) -> Answer:
        if ask.key == "within":
            return 1e-2 if self.exact else OFF
        off = 0.0 if self.exact else self.rng.uniform(-OFF, OFF)
        if ask.key == "air":
            return AIR + off
        if self.began_s is None:
            self.began_s = hand.now_s
        case = self.rise / (1 + self.inside)
        since, tau, lag = hand.now_s - self.began_s, self.tau, self.lag
        soon = lag * math.exp(-since / lag) if lag else 0.0
        return AIR + case * (1 - (tau * math.exp(-since / tau) - soon) / (tau - lag)) + off


@cache
def _cycle() -> Cycle:
    return cycle_of(bench_with("warm-up"))


def hidden(rng: random.Random) -> tuple[HiddenMotor, float]:
    """A motor on the bench of `shaft-scale`, and its true thermal resistance as the plan counts it."""
    cycle = _cycle()
    resistance = rng.uniform(3.0, 7.0)
    loss = near(rng, 1.0, 0.10) * near(rng, 1.0, 0.05) ** 2 * cycle.loss
    rise = float(winding_rise(loss, resistance, AIR))
    return HiddenMotor(rise, rng.uniform(14, 28) * 60, rng.uniform(0.1, 0.35), rng, lag=rng.uniform(0, 120)), resistance


def test_resistance_and_time_constant_are_found_and_can_be_written() -> None:
    cycle = cycle_of(bench_with("warm-up"))
    motor = HiddenMotor(float(winding_rise(cycle.loss, 4.0, AIR)), 1200.0, 0.225, random.Random(1), exact=True)
    found, person = measured("warm-up", motor.reads)
    each = by_key(found)
    assert each["time-constant"].measured.value == pytest.approx(20.0, rel=1e-3)
    assert each["thermal-resistance"].measured.value == pytest.approx(4.0, rel=1e-3)
    changes = [finding.change for finding in found if finding.change is not None]
    assert [(change.key, change.value) for change in changes] == [
        ("warming.time_constant", "20 min"),
        ("warming.thermal_resistance", "4 K/W"),
    ]
    ends = 40 + winding_rise(cycle.own_loss, 4.0, 40.0)
    assert each["end-temperature"].measured.value == pytest.approx(ends, rel=1e-3)
    assert "It holds: it bears 130 degC" in each["end-temperature"].sentence
    assert each["thermal-resistance"].planned == (6.0, 6.0), "K/W, as the motor's file states"
    # By hand: T = 40 + R P (1 + 0.00393 (T - 20)), solved for T.
    power = 6.0 * cycle.own_loss
    by_hand = (40 + power * (1 - 0.00393 * 20)) / (1 - 0.00393 * power)
    assert each["end-temperature"].planned == pytest.approx((by_hand, by_hand), rel=1e-3)
    assert person.asked == ["within", "air", *(f"case-{count}" for count in range(7))]


def test_it_says_beforehand_how_long_and_how_far_it_turns() -> None:
    words = procedure_named("warm-up").moves(bench_with("warm-up"))
    assert "22.9 deg to and fro" in words
    assert "for 60 minutes" in words
    assert "may burn a hand" in words
    assert "stands energised for 60 minutes" in procedure_named("warm-up").moves(bench_with("warm-up", setup=None))


def test_without_a_job_it_warms_as_it_stands() -> None:
    bench = bench_with("warm-up", setup=None)
    rise = float(winding_rise(cycle_of(bench).loss, 5.0, AIR))
    motor = HiddenMotor(rise, 900.0, 0.225, random.Random(1), exact=True)
    found, person = measured("warm-up", motor.reads, setup=None)
    assert by_key(found)["thermal-resistance"].measured.value == pytest.approx(5.0, rel=1e-3)
    assert not person.hand.acts


def test_a_motor_that_gets_too_hot_is_stopped_and_what_was_read_still_tells() -> None:
    motor = HiddenMotor(180.0, 1200.0, 0.225, random.Random(1), exact=True)
    found, person = measured("warm-up", motor.reads)
    assert person.asked[-1] == "case-2"
    assert any("switch the driver's supply off" in line for line in person.told)
    assert "It is too hot" in by_key(found)["end-temperature"].sentence


def test_a_motor_that_is_too_hot_at_once_tells_nothing_more() -> None:
    motor = HiddenMotor(400.0, 600.0, 0.225, random.Random(1), exact=True)
    with pytest.raises(InputError, match="too hot 10 min after it began"):
        measured("warm-up", motor.reads)


@pytest.mark.parametrize("rise", [pytest.param(0.0, id="all alike"), pytest.param(-12.0, id="colder"), 1.5])
def test_a_case_that_gets_no_warmer_than_can_be_read_tells_nothing(rise: float) -> None:
    def reads(ask: Ask, hand: LooseHand) -> Answer:
        number = int(ask.key.rpartition("-")[2]) if ask.key.startswith("case-") else 0
        return 1.0 if ask.key == "within" else AIR + rise * number / 6

    with pytest.raises(InputError, match=r"the case got warmer by [\d.]+ K, and the thermometer may be off by 1 K"):
        measured("warm-up", reads)


def test_a_curve_that_has_not_bent_is_not_written() -> None:
    motor = HiddenMotor(40.0, 2.5 * 3600, 0.225, random.Random(1), exact=True)
    found, _ = measured("warm-up", motor.reads)
    assert [finding.change for finding in found] == [None, None, None]
    assert "measure again with more repeats" in found[0].sentence


@pytest.mark.parametrize("cases", [pytest.param(12, id="12"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_interval_holds_what_is_hidden_in_nineteen_motors_of_twenty(cases: int) -> None:
    rng = random.Random(20261129)
    held = {"time-constant": 0, "thermal-resistance": 0}
    for _ in range(cases):
        motor, resistance = hidden(rng)
        found = by_key(measured("warm-up", motor.reads)[0])
        for key, true in (("time-constant", motor.tau / 60), ("thermal-resistance", resistance)):
            held[key] += found[key].measured.lowest <= true <= found[key].measured.highest
    assert_as_stated(held, cases)
