"""`drag` on axes whose friction, imbalance and efficiency are hidden: what is found, and how often it holds."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

import pytest
from scipy import constants

from firmware_host.commissioning.procedures.motor.efficiency import Cord
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.errors import InputError
from firmware_host.model import load_job
from firmware_host.planning.by_hand import hand_on_job
from tests.commissioning.procedures.motor.heavy_bench import SHAFT, LooseHand, assert_as_stated, by_key, measured, near

STEP, DIAMETER, PULLEY, WITHIN, LOAD = 0.005, 0.050, 0.030, 0.1e-3, 1.0
CURRENT_STEP = 0.02
MACHINE = SHAFT.machine
RATIO = 3.0
PER_AMPERE = MACHINE.motor.holding_torque.si / (math.sqrt(2) * MACHINE.motor.rated_current.si)


@dataclass
class HiddenAxis:
    """What turns it (N m): friction at the drive, imbalance by the place, detent and efficiency of motor and train."""

    friction: float = 0.08
    imbalance: float = 0.02
    imbalance_at: float = 1.0
    detent: float = 0.03
    efficiency: float = 0.85
    belt: str = "yes"
    way: str = "no"
    rng: random.Random = field(default_factory=lambda: random.Random(1))
    diameter: float = DIAMETER
    pulley: float = PULLEY
    per_ampere: float = PER_AMPERE
    scatter: float = 0.0
    places: int = 6
    set_to: float = 0.0

    def at_drive(self, place: int, sign: int) -> float:
        angle = 2 * math.pi * place / self.places
        along = 0.0 if self.belt == "yes" else self.detent * RATIO
        friction = self.friction + self.rng.gauss(0, self.scatter)
        return friction + along + sign * self.imbalance * math.cos(angle - self.imbalance_at)

    def at_motor(self, *, loaded: bool) -> float:
        load = LOAD * constants.g * self.diameter / 2 if loaded else 0.0
        return self.detent + (self.friction + load) / (RATIO * self.efficiency)

    def reads(self, ask: Ask, hand: LooseHand) -> Answer:
        known: dict[str, Answer] = {
            "belt": self.belt, "diameter": DIAMETER, "step": STEP, "gearing": self.way, "load": LOAD,
            "motor-diameter": PULLEY,
        }  # fmt: skip
        if ask.key in known:
            return known[ask.key]
        name, *numbers = ask.key.split("-")
        if name in ("forward", "back"):
            torque = self.at_drive(int(numbers[0]), 1 if name == "forward" else -1)
            return weighed(torque, self.diameter, self.rng)
        if self.way == "weights":
            return weighed(self.at_motor(loaded=name == "loaded"), self.pulley, self.rng)
        if numbers[-1] != "turned":
            assert hand.energised
            if numbers[0] == "0":
                self.set_to = self.at_motor(loaded=name == "loaded") / self.per_ampere + self.rng.uniform(0.03, 0.2)
            self.set_to -= CURRENT_STEP
            return self.set_to
        return "yes" if self.set_to * self.per_ampere >= self.at_motor(loaded=name == "loaded") else "no"


def weighed(torque: float, diameter: float, rng: random.Random) -> float:
    """The first weight of a row in steps that turns it; the row begins anywhere."""
    needed, begin = torque / (constants.g * diameter / 2), rng.uniform(0, STEP)
    return begin + STEP * math.ceil((needed - begin) / STEP)


def drawn(rng: random.Random, **how: str) -> HiddenAxis:
    """An axis whose every value is another, within what is said of the instruments."""
    stated = MACHINE.motor.detent_torque
    assert stated is not None
    return HiddenAxis(
        friction=rng.uniform(0.03, 0.25), imbalance=rng.uniform(0.01, 0.06), imbalance_at=rng.uniform(0, 6.28),
        detent=stated.si * rng.gauss(1.0, 0.3 / 1.96), efficiency=rng.uniform(0.6, 0.97), rng=rng,
        diameter=DIAMETER + rng.uniform(-WITHIN, WITHIN), pulley=PULLEY + rng.uniform(-WITHIN, WITHIN),
        per_ampere=near(rng, near(rng, PER_AMPERE, 0.1), 0.05), scatter=0.004, **how,
    )  # fmt: skip


def test_friction_and_imbalance_are_told_apart_by_both_ways() -> None:
    found, person = measured("drag", HiddenAxis().reads)
    each = by_key(found)
    assert each["friction"].measured.value == pytest.approx(0.08, abs=1e-3)
    assert each["imbalance"].measured.value == pytest.approx(0.02, abs=1e-3)
    change = each["friction"].change
    assert change is not None
    assert change.key == "drive.friction_torque"
    assert "part.mass_offset" in each["imbalance"].sentence
    assert person.hand.acts == ["release", "hold"]
    assert len(person.asked) == 3 + 12 + 1


def test_the_file_that_is_right_stays() -> None:
    stated = MACHINE.drive.shaft_friction
    assert stated is not None
    found, _ = measured("drag", HiddenAxis(friction=stated).reads)
    assert by_key(found)["friction"].verdict == "as stated"
    assert by_key(found)["friction"].change is None
    assert by_key(found)["friction"].planned == (stated, stated)


def test_a_motor_that_turns_along_is_taken_off_by_its_detent_torque() -> None:
    stated = MACHINE.motor.detent_torque
    assert stated is not None
    axis = HiddenAxis(friction=0.5, detent=stated.si, belt="no")
    found = by_key(measured("drag", axis.reads)[0])["friction"]
    assert found.measured.value == pytest.approx(0.5, abs=2e-3)
    assert found.measured.within > 0.3 * stated.si * RATIO
    little = HiddenAxis(friction=0.01, detent=stated.si, belt="no")
    hidden = by_key(measured("drag", little.reads)[0])["friction"]
    assert hidden.change is None
    assert "take the belt off" in hidden.sentence


@pytest.mark.parametrize("way", ["weights", "current"])
def test_the_efficiency_is_that_of_the_gearing_whatever_friction_and_detent_torque_are(way: str) -> None:
    found, person = measured("drag", HiddenAxis(efficiency=0.75, friction=0.2, way=way).reads)
    efficiency = by_key(found)["efficiency"]
    assert efficiency.measured.lowest <= 0.75 <= efficiency.measured.highest
    assert efficiency.measured.value == pytest.approx(0.75, rel=0.12)
    assert efficiency.change is not None
    assert efficiency.change.key == "gearing.0.efficiency"
    assert person.hand.acts[-1] == "hold"
    lifts = [act for act in person.hand.acts if act.startswith("turn")]
    assert (way == "current") == bool(lifts)
    assert set(lifts) <= {"turn to 30", "turn to 0"}


def test_a_wrong_diameter_that_gives_more_than_it_takes_is_not_written() -> None:
    axis = HiddenAxis(efficiency=0.95, way="weights", pulley=0.060)
    found = by_key(measured("drag", axis.reads)[0])["efficiency"]
    assert found.verdict == "told"
    assert found.change is None
    assert "look at the diameters" in found.sentence


def test_a_self_locking_stage_is_measured_apart() -> None:
    stage = MACHINE.gearing[0].model_copy(update={"self_locking": True})
    locked = MACHINE.model_copy(update={"gearing": (stage,)})
    with pytest.raises(InputError, match="no weight at the part turns a self-locking stage"):
        measured("drag", HiddenAxis(belt="no").reads, machine=locked)


def test_several_stages_share_what_they_differ_by() -> None:
    first = MACHINE.gearing[0]
    second = first.model_copy(update={"driving_teeth": 30, "driven_teeth": 30, "efficiency": 0.9})
    geared = MACHINE.model_copy(update={"gearing": (first, second)})
    found = by_key(measured("drag", HiddenAxis(efficiency=0.7, way="weights").reads, machine=geared)[0])
    efficiency = found["efficiency"]
    written = [efficiency.change, *efficiency.also]
    assert [each.key for each in written if each] == ["gearing.0.efficiency", "gearing.1.efficiency"]
    product = math.prod(float(each.value) for each in written if each)
    assert product == pytest.approx(efficiency.measured.value, rel=5e-3)


def test_on_rollers_the_driven_one_is_measured() -> None:
    plan = hand_on_job(load_job("tumbler-wrap"))
    found, person = measured("drag", HiddenAxis(friction=0.02).reads, plan=plan)
    assert "driven roller" in by_key(found)["friction"].name
    assert "efficiency" not in by_key(found)
    assert any("no part on the rollers" in line for line in person.told)


def test_the_torque_of_a_weight_lies_between_the_one_that_turned_it_and_a_step_less() -> None:
    cord = Cord(0.1, 0.02, 0.0)
    assert cord.torque(0.51) == pytest.approx(0.5 * constants.g * 0.05)
    assert cord.torque_within == pytest.approx(0.01 * constants.g * 0.05)


@pytest.mark.parametrize("cases", [pytest.param(60, id="60"), pytest.param(500, id="500", marks=pytest.mark.slow)])
@pytest.mark.parametrize(("belt", "way"), [("yes", "weights"), ("no", "current")], ids=["weights", "current"])
def test_the_interval_holds_what_is_hidden_in_nineteen_axes_of_twenty(cases: int, belt: str, way: str) -> None:
    rng = random.Random(20261129)
    quantities = ("friction", "imbalance", "efficiency") if way == "weights" else ("friction", "efficiency")
    held = dict.fromkeys(quantities, 0)
    for _ in range(cases):
        axis = drawn(rng, belt=belt, way=way)
        found = by_key(measured("drag", axis.reads)[0])
        for key in held:
            held[key] += found[key].measured.lowest <= getattr(axis, key) <= found[key].measured.highest
    assert_as_stated(held, cases)
