"""`power-off` on axes that hold, settle or turn away: what is found, written, and used where a run is begun."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from fractions import Fraction

import pytest

from firmware_host.commissioning.script import Answer, Ask
from tests.commissioning.procedures.motor.heavy_bench import SHAFT, LooseHand, assert_as_stated, by_key, measured

READ_TO = 0.0087
"""What `bench_with` says of the protractor: half a degree."""


@dataclass
class HiddenPart:
    """A part whose imbalance (N m, at `at` rad) pulls it, what holds it (N m), and its motor's nearest place (rad)."""

    imbalance: float = 0.0
    holding: float = 0.05
    at: float = 0.3
    settles: float = 0.0
    off: float = 0.0
    rng: random.Random = field(default_factory=lambda: random.Random(1))
    stands: float = 0.0
    moved: list[float] = field(default_factory=list)

    def reads(self, ask: Ask, hand: LooseHand) -> Answer:
        noise = self.rng.uniform(-self.off, self.off)
        name, _, _ = ask.key.partition("-")
        if name == "before":
            assert hand.energised
            self.stands = 2 * math.pi * float(hand.at)
            return noise
        assert not hand.energised
        return self._moves() + noise

    def _moves(self) -> float:
        """It swings to where friction holds it: the nearest angle at which the imbalance pulls no more than that."""
        pull = self.imbalance * math.sin(self.stands - self.at)
        if abs(pull) <= self.holding:
            self.moved.append(self.settles)
            return self.settles
        edge = math.asin(min(self.holding / self.imbalance, 1.0))
        angle = (self.stands - self.at + math.pi) % (2 * math.pi) - math.pi
        moved = math.copysign(edge, angle) - angle
        self.moved.append(moved)
        return moved


def test_a_part_that_stands_may_be_left_clamped() -> None:
    (found,), person = measured("power-off", HiddenPart(off=READ_TO / 2).reads)
    assert "may be left clamped without current" in found.sentence
    assert found.change is not None
    assert (found.change.key, found.change.value) == ("axis.unpowered", "holds")
    assert person.hand.acts.count("release") == person.hand.acts.count("hold") == 4
    assert person.hand.energised


def test_a_motor_that_comes_to_its_next_resting_place_holds_there() -> None:
    (found,), _ = measured(
        "power-off", HiddenPart(settles=math.radians(0.5)).reads, within_angle=1e-3, within_length=1e-6
    )
    assert "comes to the motor's next resting place, 0.6 deg away at the most" in found.sentence
    assert found.change is not None
    assert found.change.value == "holds"


def test_a_part_that_turns_away_is_told_and_the_next_place_is_found_again() -> None:
    part = HiddenPart(imbalance=0.2)
    (found,), person = measured("power-off", part.reads)
    assert found.sentence.startswith("It turns away: never leave it clamped")
    assert found.change is not None
    assert found.change.value == "turns"
    assert found.measured.value == pytest.approx(math.degrees(max(map(abs, part.moved))))
    assert [act for act in person.hand.acts if act in ("turn to 0", "turn to 90", "turn to 180", "turn to 270")] == [
        "turn to 0", "turn to 90", "turn to 180", "turn to 270"
    ]  # fmt: skip
    assert abs(float(person.hand.at - Fraction(3, 4)) * 2 * math.pi - part.moved[3]) < 1e-5


def test_the_files_are_contradicted_where_they_say_otherwise() -> None:
    (found,), _ = measured("power-off", HiddenPart(imbalance=0.5).reads)
    assert "The files speak for the other: imbalance " in found.sentence
    (stands,), _ = measured("power-off", HiddenPart().reads)
    assert "The files" not in stands.sentence


def test_what_the_file_says_already_stays() -> None:
    axis = SHAFT.machine.axis.model_copy(update={"unpowered": "holds"})
    machine = SHAFT.machine.model_copy(update={"axis": axis})
    (found,), _ = measured("power-off", HiddenPart().reads, machine=machine)
    assert (found.verdict, found.change) == ("as stated", None)


@pytest.mark.parametrize("cases", [pytest.param(60, id="60"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_interval_holds_what_is_hidden_in_nineteen_parts_of_twenty(cases: int) -> None:
    rng = random.Random(20261129)
    held = {"power-off": 0}
    for _ in range(cases):
        part = HiddenPart(imbalance=rng.uniform(0.06, 0.3), at=rng.uniform(0, 6.28), off=READ_TO, rng=rng, holding=0.05)
        found = by_key(measured("power-off", part.reads)[0])["power-off"].measured
        held["power-off"] += found.lowest <= math.degrees(max(map(abs, part.moved))) <= found.highest
    assert_as_stated(held, cases)
