"""`drag`, `inertia`, `power-off` and `warm-up` on the simulator's own true machines, whose values are hidden."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from scipy import constants

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import carry_out
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.simulator.true_machine.heat import Bodies
from firmware_host.simulator.true_machine.loose import Weight
from firmware_host.station.hand.hand import Hand
from tests.commissioning.hidden.hands import QuickHand, bench_of, carried_out
from tests.commissioning.hidden.machines import Hidden
from tests.commissioning.hidden.person import Reader
from tests.commissioning.procedures.motor.heavy_bench import SHAFT, LooseHand, assert_as_stated, by_key, measured, near
from tests.support.station_bench import quick_disk

DRUM, STEP, WITHIN = 0.050, 0.005, 0.1e-3
TIMED = 0.2
MASS, ARM, SWINGS = 1.0, 0.1, 10
CASES = [pytest.param(20, id="20"), pytest.param(500, id="500", marks=pytest.mark.slow)]


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def axis_of(rng: random.Random, load: dict[str, Any] | None = None, motor: dict[str, Any] | None = None) -> TrueAxis:
    return Hidden(tables={"load": load or {}, "motor": motor or {}}).axis(SHAFT.setup, rng)


class Bystander:
    """Weighs, swings and spins what is loose of a true axis, with instruments that are off by what is said of them."""

    def __init__(self, axis: TrueAxis, rng: random.Random, way: str = "") -> None:
        self.loose, self.rng, self.way = axis.loose, rng, way
        self.drum = DRUM + self.off(WITHIN)
        self.weight = Weight(MASS + self.off(0.002), ARM + self.off(WITHIN), 0.0)
        self.width = rng.uniform(0.12, 0.2)
        self.times = (0.0, 0.2, 0.4, 0.6)
        self.spun: list[float] = []

    def off(self, within: float) -> float:
        return self.rng.uniform(-within, within)

    def reads(self, ask: Ask, hand: LooseHand) -> Answer:
        assert not hand.energised or ask.kind in ("choice", "length", "mass"), ask
        name, _, number = ask.key.rpartition("-")
        known: dict[str, Answer] = {
            "belt": "yes", "diameter": DRUM, "step": STEP, "gearing": "no", "way": self.way, "part": "no",
            "mass": MASS, "mass-step": 0.002, "arm": ARM, "swings-low": float(SWINGS), "swings-high": float(SWINGS),
            "width-low": self.width * 0.9, "width-high": self.width * 0.9,
            "friction": self.loose.friction * (1 + self.rng.gauss(0, 0.02)),
            "friction-within": 1.96 * 0.02 * self.loose.friction, "speed-within": 0.2,
        }  # fmt: skip
        if ask.key in known:
            return known[ask.key]
        if name in ("forward", "back"):
            return self._weighed(2 * math.pi * int(number) / 6, 1 if name == "forward" else -1)
        if name in ("time-low", "time-high"):
            took = self.loose.swing_time(
                self.weight._replace(low=0.0 if name == "time-low" else math.pi), self.width, SWINGS
            )
            assert took is not None, "friction stopped it"
            return took + self.off(TIMED)
        if name == "time":
            return self.times[int(number)]
        if not self.spun:
            self.spun = self.loose.speeds(60.0, (1e-3, *self.times[1:]))
        return self.spun[int(number)] + self.off(0.2)

    def _weighed(self, angle: float, sign: int) -> float:
        mass = self.rng.uniform(0, STEP)
        while not self.loose.turns_under(sign * mass * constants.g * self.drum / 2, angle):
            mass += STEP
        return mass


@pytest.mark.parametrize("cases", CASES)
def test_drag_finds_friction_and_imbalance_of_a_true_machine(cases: int) -> None:
    rng, held = random.Random(5), {"friction": 0, "imbalance": 0}
    for _ in range(cases):
        friction, imbalance = rng.uniform(0.05, 0.25), rng.uniform(0.01, 0.04)
        axis = axis_of(rng, {"friction_torque": f"{friction} N*m", "imbalance_torque": f"{imbalance} N*m"})
        found = by_key(measured("drag", Bystander(axis, rng).reads)[0])
        for key, true in (("friction", friction), ("imbalance", imbalance)):
            held[key] += found[key].measured.lowest <= true <= found[key].measured.highest
    assert_as_stated(held, cases)


@pytest.mark.parametrize("cases", CASES)
@pytest.mark.parametrize("way", ["pendulum", "run-down"])
def test_inertia_finds_what_turns_on_the_shaft_of_a_true_machine(way: str, cases: int) -> None:
    rng, held = random.Random(6), {"inertia-drive": 0}
    cases = cases if way == "run-down" else max(cases // 3, 6)  # ten swings of each are integrated
    for _ in range(cases):
        friction = rng.uniform(0.03, 0.06) if way == "run-down" else rng.uniform(1e-5, 3e-4)
        load = {"inertia": f"{rng.uniform(2e-3, 6e-3)} kg*m^2", "friction_torque": f"{friction} N*m",
                "imbalance_torque": f"{0 if way == 'run-down' else rng.uniform(0, 0.01)} N*m"}  # fmt: skip
        axis = axis_of(rng, load)
        found = by_key(measured("inertia", Bystander(axis, rng, way).reads, within_length=WITHIN)[0])
        told = found["inertia-drive"].measured
        held["inertia-drive"] += told.lowest <= axis.loose.inertia * 1e7 <= told.highest
    assert_as_stated(held, cases)


class LetGo(QuickHand):
    """A hand that remembers how far the part turned each time that it was let go of."""

    def __init__(self, axis: TrueAxis) -> None:
        super().__init__(SHAFT, axis)
        self.drifts: list[float] = []

    def release(self) -> None:
        before = self.axis.part_angle
        super().release()
        self.drifts.append(self.axis.part_angle - before)


@pytest.mark.parametrize("cases", CASES)
def test_power_off_finds_how_far_the_heavy_side_of_a_true_machine_falls(tmp_path: Path, cases: int) -> None:
    rng, held = random.Random(7), {"power-off": 0}
    cases = max(cases // 3, 6)
    for number in range(cases):
        imbalance = rng.uniform(0.08, 0.3)
        load = {"friction_torque": "0.05 N*m", "imbalance_torque": f"{imbalance} N*m", "inertia": "30 kg*cm^2"}
        hand = LetGo(axis_of(rng, load))
        hand.turn_to(Fraction(rng.randrange(360), 360))
        (found,), _ = carried_out(tmp_path, "power-off", hand, rng, number)
        true = math.degrees(max(map(abs, hand.drifts)))
        held["power-off"] += found.measured.lowest <= true <= found.measured.highest
        assert found.change is not None
        assert found.change.value == ("turns" if true > 0.6 else "holds")
    assert_as_stated(held, cases)


def warmed(kept: Path, axis: TrueAxis, rng: random.Random) -> dict[str, Finding]:
    """What `warm-up` finds of a motor that stands energised for an hour."""
    hand = cast("Hand", QuickHand(SHAFT, axis))
    with Record(kept, "m", VirtualClock()) as record:
        bench = replace(bench_of(hand, "warm-up"), setup=None)
        found = carry_out(procedure_named("warm-up"), bench, hand, Reader(axis, hand, rng), record)
    return by_key(found)


def slowest(bodies: Bodies, loss: float) -> float:
    """The greater time constant (s) of copper and case, by NumPy's eigenvalues."""
    more, between, out = 3.93e-3 * loss, 1 / bodies.to_case, 1 / bodies.to_air
    rates = np.array([[more - between, between], [between, -between - out]])
    values = np.linalg.eigvals(rates / np.array([[bodies.winding_capacity], [bodies.case_capacity]]))
    return float(-1 / values.max())


@pytest.mark.parametrize("cases", CASES)
def test_warm_up_finds_resistance_and_time_constant_of_copper_in_a_case(tmp_path: Path, cases: int) -> None:
    rng, held = random.Random(8), {"thermal-resistance": 0, "time-constant": 0}
    driver, motor = SHAFT.machine.driver, SHAFT.machine.motor
    assert motor.resistance is not None
    for number in range(cases):
        current, resistance = near(rng, driver.current.si, 0.05), near(rng, motor.resistance.si, 0.1)
        whole = rng.uniform(3.0, 7.0)
        axis = axis_of(rng, motor={
            "current": f"{current} A", "resistance": f"{resistance} ohm", "thermal_resistance": f"{whole} K/W",
            "thermal_time": f"{rng.uniform(14, 28)} min", "winding_inside": rng.uniform(0.1, 0.35),
            "winding_time": f"{rng.uniform(20, 120)} s", "ambient": f"{rng.uniform(17, 27)} degC",
        })  # fmt: skip
        found = warmed(tmp_path / f"{number}.jsonl", axis, rng)
        tau = slowest(Bodies.of(axis.true, axis.machine), current**2 * resistance * driver.standstill_share**2)
        for key, true in (("thermal-resistance", whole), ("time-constant", tau / 60)):
            held[key] += found[key].measured.lowest <= true <= found[key].measured.highest
    assert_as_stated(held, cases)
