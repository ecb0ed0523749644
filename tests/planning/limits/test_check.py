"""Every limit breaks when its cause is there, and only a missing datum makes it unknown."""

import math
from typing import Any

import numpy as np
import pytest
from scipy import constants

from firmware_host.errors import FormulaRangeError
from firmware_host.planning.limit_report import LimitReport, check_limits
from firmware_host.planning.limits.check import Verdict, upper_limit
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import DELETE, ROLLERS, job, machine, roller_machine

ROLLING = {"grip", "grip-peak", "seating", "seating-peak"}


def failing(found: LimitReport) -> set[str]:
    return {check.name for check in found.checks if check.verdict is Verdict.FAILS}


def test_a_modest_motion_holds_every_limit() -> None:
    found = report()
    assert found.verdict is Verdict.HOLDS
    assert {check.verdict for check in found.checks} == {Verdict.HOLDS}
    assert [check.name for check in found.checks] == [
        "torque-accelerating",
        "torque-braking",
        "torque-peak",
        "holding-torque",
        "step-rate-driver",
        "step-rate-controller",
        "step-pulse",
        "inertia-ratio",
        "resonance",
        "mid-range",
        "twist",
        "mass",
        "grip-range",
        "overhang",
        "radial-load",
        "motor-shaft-load",
        "unsupported-length",
        "power-off",
        "heat-holding",
        "heat-cycle",
        "supply-current",
        "supply-voltage",
    ]


@pytest.mark.parametrize(
    ("rig", "work", "motion", "expected"),
    [
        pytest.param(
            machine(),
            job(),
            {"acceleration": 1500.0},
            {"torque-accelerating", "torque-braking", "torque-peak"},
            id="too quick a ramp",
        ),
        pytest.param(
            machine(),
            job(index={"safety_factor": 6.0}),
            {"acceleration": 250.0},
            {"torque-accelerating"},
            id="too much safety asked",
        ),
        pytest.param(
            machine(driver__standstill_current=0.02),
            job(part__mass_offset="4 mm"),
            {},
            {"holding-torque"},
            id="no holding current",
        ),
        pytest.param(machine(driver__highest_step_rate="10 kHz"), job(), {}, {"step-rate-driver"}, id="slow driver"),
        pytest.param(machine(link__highest_step_rate="10 kHz"), job(), {}, {"step-rate-controller"}, id="slow board"),
        pytest.param(machine(driver__smallest_pulse="60 us"), job(), {}, {"step-pulse"}, id="long pulse"),
        pytest.param(machine(), job(part__density="2700 kg/m^3"), {}, {"mass"}, id="wrong material"),
        pytest.param(machine(), job(part__overhang="300 mm"), {}, {"overhang"}, id="long overhang"),
        pytest.param(roller_machine(friction=0.05), job(), {}, {"grip", "grip-peak"}, id="slippery rollers"),
        pytest.param(
            roller_machine(friction=2.0, centre_distance="26 mm"),
            job(part__mass="0.9 kg", part__density=DELETE),
            {"acceleration": 250.0},
            {"grip", "grip-peak", "seating", "seating-peak"},
            id="part climbs out",
        ),
    ],
)
def test_each_limit_fails_for_its_own_cause_alone(
    rig: Any, work: Any, motion: dict[str, float], expected: set[str]
) -> None:
    found = report(rig, work, **motion)
    assert failing(found) == expected
    assert found.verdict is Verdict.FAILS
    assert all(named(found, name).margin < 0 for name in expected)


def test_values_and_limits_are_the_ones_written_out_by_hand() -> None:
    found = report()
    part = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
    imbalance = 2.2 * constants.g * 0.0002
    beyond = (3e-4 + 5e-4 + part) * 60 + 0.1 + imbalance
    peak_speed = math.sqrt(2 * math.pi / 12 * 60)  # a triangle: below the 8 rad/s stated
    pull_out = np.interp(4 * peak_speed, [10, 40, 100], [0.8, 0.6, 0.12])
    torque = named(found, "torque-accelerating")
    assert torque.value == pytest.approx(2.2e-5 * 240 + beyond / 3.6)
    assert torque.limit == pytest.approx(pull_out / 2)
    assert torque.margin == pytest.approx(1 - torque.value / torque.limit)
    assert named(found, "holding-torque").value == pytest.approx(imbalance / 4)
    assert named(found, "holding-torque").limit == pytest.approx(1 / math.sqrt(2) / 2)
    rate = peak_speed * 4 * 3200 / (2 * math.pi)
    assert named(found, "step-rate-controller").value == pytest.approx(rate)
    assert named(found, "step-pulse").limit == pytest.approx(1 / (2 * rate))
    assert named(found, "overhang").value == pytest.approx(2.2 * constants.g * 0.09 + 1.0 * constants.g * 0.04)
    assert named(found, "inertia-ratio").value == pytest.approx((2e-6 + (8e-4 + part) / 16) / 2e-5)


def test_the_peak_counts_the_ramp_s_inertia_as_far_as_it_swings_and_friction_once() -> None:
    found = report()
    steady = report(acceleration=1e-9, speed=1e-9)
    needed, load_alone = named(found, "torque-accelerating").value, named(steady, "torque-accelerating").value
    # The step response at the least damping, and at most half a hundredth more.
    swings = 1 + math.exp(-0.05 * (math.pi - 2 * math.asin(0.05)) / math.sqrt(1 - 0.05**2))
    inertia = named(found, "torque-peak").value - load_alone
    assert swings * (needed - load_alone) <= inertia <= 1.005 * swings * (needed - load_alone)
    assert named(found, "torque-peak").limit == pytest.approx(2 * named(found, "torque-accelerating").limit)


def test_a_tailstock_takes_the_overhang_s_moment() -> None:
    with_tailstock = machine(support__tailstock=True, support__friction_torque="0.05 N*m")
    found = report(with_tailstock, job(part__overhang="50 mm"))
    assert named(found, "overhang").value == pytest.approx((2.2 * 0.5 + 1.0) * constants.g * 0.04)


@pytest.mark.parametrize(
    ("rig", "work", "assumed", "key"),
    [
        pytest.param(
            machine(motor__torque_curve=DELETE, motor__resistance=DELETE, motor__frame="NEMA 23"),
            job(),
            {"heat-holding", "heat-cycle", "supply-current", "mid-range"},  # so slow that the current limits the torque
            "motor.resistance",
            id="motor without data",
        ),
        pytest.param(
            machine(gearing__0__efficiency=DELETE),
            job(),
            {"torque-accelerating", "torque-braking", "torque-peak", "supply-current"},
            "gearing.belt.efficiency",
            id="efficiency",
        ),
        pytest.param(
            machine(),
            job(part__mass_offset=DELETE),
            {
                "torque-accelerating",
                "torque-braking",
                "torque-peak",
                "holding-torque",
                "power-off",
                "inertia-ratio",
                "resonance",
                "twist",
                "supply-current",
                "supply-voltage",
            },
            "part.mass_offset",
            id="centre of mass",
        ),
        pytest.param(
            machine(gearing__0__driving_inertia=DELETE),
            job(),
            {
                "torque-accelerating",
                "torque-braking",
                "torque-peak",
                "inertia-ratio",
                "resonance",
                "supply-current",
                "supply-voltage",
            },
            "gearing.belt.driving_inertia",
            id="pulley",
        ),
        pytest.param(
            machine(driver__smallest_pulse=DELETE), job(), {"step-pulse"}, "driver.smallest_pulse", id="pulse"
        ),
        pytest.param(
            machine(), job(part__overhang=DELETE), {"overhang", "radial-load"}, "part.overhang", id="overhang"
        ),
        pytest.param(
            machine(
                drive=ROLLERS,
                motor__rotor_inertia="1e-4 kg*m^2",
                gearing__0__driving_inertia=DELETE,
                gearing__0__driven_teeth=20,
            ),
            job(),
            {
                "torque-accelerating",
                "torque-braking",
                "torque-peak",
                "inertia-ratio",
                "resonance",
                "grip-peak",
                "seating-peak",
                "roller-bearing-load",
                "motor-shaft-load",
                "supply-current",
                "supply-voltage",
            },
            "gearing.belt.driving_inertia",
            id="pulley before rollers",
        ),
        pytest.param(
            roller_machine(rolling_resistance=None),
            job(),
            ROLLING | {"roller-bearing-load", "torque-accelerating", "torque-braking", "torque-peak", "supply-current"},
            "drive.rolling_resistance",
            id="rolling resistance",
        ),
        pytest.param(
            roller_machine(idle_friction_torque=None),
            job(),
            ROLLING | {"roller-bearing-load", "torque-accelerating", "torque-braking", "torque-peak", "supply-current"},
            "drive.idle_friction_torque",
            id="idle bearings",
        ),
    ],
)
def test_a_datum_that_nobody_stated_is_assumed_where_it_counts(
    rig: Any, work: Any, assumed: set[str], key: str
) -> None:
    found = report(rig, work, acceleration=20.0)
    assert {check.name for check in found.checks if key in check.assumed} == assumed
    assert {each.key for each in found.assumptions} >= {key}


def test_a_light_rotor_exceeds_a_rule_of_thumb_and_stops_nothing() -> None:
    found = report(machine(motor__rotor_inertia="5e-6 kg*m^2"))
    ratio = named(found, "inertia-ratio")
    assert ratio.verdict is Verdict.EXCEEDED
    assert ratio.margin < 0
    assert not ratio.stops
    assert found.verdict is Verdict.EXCEEDED


def test_moves_too_short_to_cruise_have_no_rate_that_could_resonate() -> None:
    short = check_limits(machine(), job(), index_turns=np.array([1e-3]), speed=8.0, acceleration=60.0)
    check = named(short, "resonance")
    assert (check.value, check.margin, check.verdict) == (0.0, 1.0, Verdict.HOLDS)
    assert "too short to cruise" in check.formula


def test_cruising_in_the_resonant_band_fails_in_full_steps_and_is_exceeded_in_microsteps() -> None:
    quiet = report()
    # It does not cruise: the first band above a standstill, of the 10 % lower frequency, then its half-power band.
    natural_hz = named(quiet, "resonance").limit / 0.9 / 0.9
    slow = natural_hz / 200 / 4 * 2 * math.pi  # part rad/s at which full steps come at the natural frequency
    assert named(report(speed=slow), "resonance").verdict is Verdict.EXCEEDED
    assert named(report(speed=slow), "resonance").margin < 0
    slow *= 2**0.25  # both phases on: the spring is sqrt(2) stiffer
    cool = {"driver__microsteps": 1, "driver__current_shaped": False, "motor__thermal_resistance": "4 K/W"}
    full_steps = report(machine(**cool), speed=slow)
    assert failing(full_steps) == {"resonance"}
    beside = report(machine(**cool), speed=slow * 1.47)
    assert named(beside, "resonance").verdict is Verdict.HOLDS
    half = report(machine(**cool), speed=slow / 2)
    assert failing(half) == {"resonance"}


def test_only_the_longest_index_decides_among_a_million() -> None:
    many = np.full(1_000_000, 1e-3)
    many[777] = 0.25
    found = check_limits(machine(), job(), index_turns=many, speed=8.0, acceleration=60.0)
    alone = check_limits(machine(), job(), index_turns=np.array([0.25]), speed=8.0, acceleration=60.0)
    # Short moves ring in another phase: only the peak torque looks at every length.
    assert [c for c in found.checks if c.name != "torque-peak"] == [c for c in alone.checks if c.name != "torque-peak"]
    assert named(found, "torque-peak").value >= named(alone, "torque-peak").value
    assert named(found, "step-rate-driver").value == pytest.approx(8.0 * 4 * 3200 / (2 * math.pi))


@pytest.mark.parametrize(
    ("value", "limit", "verdict", "margin"),
    [
        pytest.param(0.79, 1.0, Verdict.HOLDS, 0.21, id="room left"),
        pytest.param(0.81, 1.0, Verdict.NARROW, 0.19, id="less than a fifth left"),
        pytest.param(1.0, 1.0, Verdict.NARROW, 0.0, id="just met"),
        pytest.param(1.01, 1.0, Verdict.FAILS, -0.01, id="exceeded"),
        pytest.param(0.1, 0.0, Verdict.FAILS, -math.inf, id="nothing allowed"),
    ],
)
def test_the_margin_is_the_part_of_the_limit_left(value: float, limit: float, verdict: Verdict, margin: float) -> None:
    check = upper_limit("x", value, limit, "N", formula="f", source="s", remedy="r")
    assert check.verdict is verdict
    assert check.margin == pytest.approx(margin)


def test_a_speed_of_nothing_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match="index speed: 0 rad/s"):
        report(speed=0.0)
    with pytest.raises(FormulaRangeError, match=r"index: -0\.1 turns"):
        check_limits(machine(), job(), index_turns=np.array([-0.1]), speed=1.0, acceleration=1.0)
