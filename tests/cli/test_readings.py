"""What a person reads, as it is understood: any unit of its kind, SI inside."""

from __future__ import annotations

import math

import pytest

from firmware_host.cli.measure.person import understood
from firmware_host.commissioning.procedures.base import Bench
from firmware_host.commissioning.script import Ask, Kind
from firmware_host.errors import QuantityError
from firmware_host.model import load_job
from firmware_host.planning.by_hand import hand_on_job

PLAN = hand_on_job(load_job("shaft-scale"))
BENCH = Bench(PLAN.machine, PLAN.setup, PLAN.per_turn, PLAN.diameter, 1, 5, 1e-5, 1e-3)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        pytest.param("2.5 min", "time", 150.0, id="minutes"),
        pytest.param("8 oz", "mass", 0.22679618500, id="ounces"),
        pytest.param("1 lbf", "force", 4.4482216152605, id="pound-force"),
        pytest.param("12 ozf*in", "torque", 0.0847386217721, id="ounce-inches"),
        pytest.param("850 mA", "current", 0.85, id="milliamperes"),
        pytest.param("68 g*cm^2", "inertia", 6.8e-6, id="inertia"),
        pytest.param("14.2 Hz", "rate", 14.2, id="rate"),
        pytest.param("60 rpm", "angular speed", 2 * math.pi, id="rpm"),
        pytest.param("176 degF", "temperature", 80.0, id="fahrenheit"),
        pytest.param("-5 degC", "temperature", -5.0, id="frost"),
        pytest.param("1.4 ohm", "resistance", 1.4, id="ohm"),
        pytest.param("25", "number", 25.0, id="number"),
    ],
)
def test_a_reading_has_any_unit_of_its_kind(text: str, kind: Kind, si: float) -> None:
    assert understood(text, Ask("key", "?", kind), BENCH) == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "kind", "problem"),
    [
        pytest.param("353 K", "temperature", "not a unit of temperature", id="kelvins"),
        pytest.param("5 kg", "force", "not a unit of force", id="mass for a force"),
        pytest.param("25 times", "number", "not a number", id="a number with a word"),
        pytest.param("80", "temperature", "has no unit", id="no unit"),
    ],
)
def test_a_reading_of_another_kind_is_refused(text: str, kind: Kind, problem: str) -> None:
    with pytest.raises(QuantityError, match=problem):
        understood(text, Ask("key", "?", kind), BENCH)
