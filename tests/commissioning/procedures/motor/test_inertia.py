"""`inertia` of bodies that are hidden, each way of measuring it: what is found, how often the interval holds."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from scipy import constants

from firmware_host.commissioning.procedures.motor.inertia import TIMED_WITHIN, WAYS
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.model import load_job
from firmware_host.planning.body import body_of
from firmware_host.planning.by_hand import hand_on_job
from tests.commissioning.procedures.motor.heavy_bench import SHAFT, LooseHand, assert_as_stated, by_key, measured

G, WITHIN = constants.g, 0.1e-3
CHUCK = SHAFT.machine.drive.shaft_body.inertia
TRAIN = (270e-7 + 60e-7) * 9 + 1900e-7
"""Rotor and driving pulley at three times the speed, driven pulley: as the test's own sum, kg m^2."""


@dataclass
class HiddenBody:
    """`inertia` (kg m^2) of what is measured; `read` 0: every instrument is right, 1: as far off as it may be."""

    way: str
    inertia: float = CHUCK
    part: str = "no"
    read: float = 0.0
    rng: random.Random = field(default_factory=lambda: random.Random(1))
    train: float = TRAIN
    errors: dict[str, float] = field(default_factory=dict)

    def off(self, key: str, within: float) -> float:
        """How far an instrument is off: the same each time that it is read for `key`."""
        if key not in self.errors:
            self.errors[key] = self.rng.uniform(-within, within) * self.read
        return self.errors[key]

    def reads(self, ask: Ask, hand: LooseHand) -> Answer:
        name, *rest = ask.key.rsplit("-", 1)
        fixed: dict[str, Answer] = {
            "way": self.way, "part": self.part, "mass-step": 0.002, "swings-low": 10.0, "swings-high": 10.0,
            "swings-turning": 10.0, "width-low": 0.1, "width-high": 0.1, "width-turning": 0.1,
            "friction-within": 0.002 if self.read else 1e-9, "speed-within": 0.2,
        }  # fmt: skip
        if ask.key in fixed:
            return fixed[ask.key]
        true = {"mass": 0.3 if self.way in ("pendulum", "ring") else 1.5, "arm": 0.06, "apart": 0.08, "length": 0.6,
                "outer": 0.1, "inner": 0.06}  # fmt: skip
        if ask.key in true:
            return true[ask.key] + self.off(ask.key, 0.001 if ask.key == "mass" else WITHIN)
        if ask.key == "friction":
            return 0.05 + (self.rng.gauss(0, 0.001) * 1.02 if self.read else 0.0)
        return self.timed(name, int(rest[0]))

    def timed(self, name: str, count: int) -> float:
        noise = self.rng.uniform(-TIMED_WITHIN, TIMED_WITHIN) * self.read
        wide = 1 + 0.1**2 / 16
        if name in ("time-low", "time-high"):
            assert self.way == "pendulum"
            own = 0.006 if name == "time-low" else -0.006
            return 10 * wide * math.tau * math.sqrt((self.inertia + 0.3 * 0.06**2) / (0.3 * G * 0.06 + own)) + noise
        if name == "time-turning":
            return 10 * wide * math.tau * math.sqrt(self.inertia * 4 * 0.6 / (1.5 * G * 0.08**2)) + noise
        if name == "time":
            return 0.05 * count
        if name == "speed":
            return 60.0 - 0.05 / self.inertia * 0.05 * count + self.rng.uniform(-0.2, 0.2) * self.read
        ring = 0.3 * (0.1**2 + 0.06**2) / 8
        whole = self.inertia + self.train + (ring if name == "with" else 0.0)
        return math.sqrt(9.0 / whole) / math.tau * (1 + self.rng.gauss(0, 0.004) * self.read)


def found_by(body: HiddenBody, **wish: Any) -> Any:
    return measured("inertia", body.reads, within_length=WITHIN, **wish)


@pytest.mark.parametrize("way", WAYS)
def test_a_chuck_that_is_heavier_than_its_file_is_found_and_can_be_written(way: str) -> None:
    found, person = found_by(HiddenBody(way, inertia=2 * CHUCK))
    each = by_key(found)["inertia-drive"]
    assert each.measured.value == pytest.approx(2 * CHUCK * 1e7, rel=2e-3)
    assert each.change is not None
    assert each.change.key == "drive.inertia"
    assert str(each.change.value).endswith(" g*cm^2")
    assert person.hand.acts == (["release", "hold"] if way in ("pendulum", "run-down") else [])


@pytest.mark.parametrize("way", WAYS)
def test_a_chuck_that_is_as_its_file_says_stays(way: str) -> None:
    found, _ = found_by(HiddenBody(way))
    assert [(each.verdict, each.change) for each in found] == [("as stated", None)]


@pytest.mark.parametrize("way", WAYS)
def test_a_part_is_what_is_left_of_it_beside_the_chuck_and_is_compared_with_its_job(way: str) -> None:
    part = body_of(SHAFT.setup.job.part).inertia
    turning = part if way == "two-cords" else part + CHUCK
    found, _ = found_by(HiddenBody(way, inertia=turning, part="yes"))
    each = by_key(found)["inertia-part"]
    assert each.measured.value == pytest.approx(part * 1e7, rel=5e-3)
    assert (each.verdict, each.change) == ("as stated", None)
    other, _ = found_by(HiddenBody(way, inertia=turning + part, part="yes"))
    assert 'state part.inertia (kind = "measured")' in other[0].sentence


def test_on_rollers_it_is_that_of_one_roller() -> None:
    plan = hand_on_job(load_job("tumbler-wrap"))
    found, _ = found_by(HiddenBody("run-down", inertia=2e-4), plan=plan)
    assert found[0].change is not None
    assert found[0].change.key == "drive.roller_inertia"


def test_friction_that_changes_with_the_speed_is_told() -> None:
    body = HiddenBody("run-down")
    straight = body.timed
    body.timed = lambda name, count: straight(name, count) - (count**2 if name == "speed" else 0)  # type: ignore[method-assign]
    found, _ = found_by(body)
    assert "along no straight line" in found[0].sentence


@pytest.mark.parametrize("cases", [pytest.param(60, id="60"), pytest.param(500, id="500", marks=pytest.mark.slow)])
@pytest.mark.parametrize("way", WAYS)
def test_the_interval_holds_what_is_hidden_in_nineteen_bodies_of_twenty(cases: int, way: str) -> None:
    rng = random.Random(20261129)
    draw: Callable[[], float] = lambda: rng.uniform(2e-4, 2e-3)  # noqa: E731
    held = {"inertia-drive": 0}
    for _ in range(cases):
        body = HiddenBody(way, inertia=draw(), read=1.0, rng=rng, train=TRAIN * rng.gauss(1.0, 0.1 / 1.96))
        found = by_key(found_by(body)[0])["inertia-drive"].measured
        held["inertia-drive"] += found.lowest <= body.inertia * 1e7 <= found.highest
    assert_as_stated(held, cases)
