"""Coordinates against the 32-bit arithmetic of a controller, worked out here anew with numpy.float32."""

import math
import re
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.errors import CoordinateError
from firmware_host.planning.route.controller_units import axis_units, feed_text, floor_text
from firmware_host.planning.route.coordinates import (
    LARGEST_STEPS,
    Coordinates,
    StoredScale,
    decimal_text,
    prove_coordinates,
)

PLAIN = re.compile(r"-?\d+\.\d+")


def landed(text: str, held: Fraction) -> int:
    """Where a controller goes: the text read into 32 bits, times its 32-bit steps-per-unit, to the nearest step.

    Independent of the planner: lround of the C library rounds halves away from zero.
    """
    product = np.float32(text) * np.float32(float(held))
    assert product.dtype == np.float32
    exact = float(product)
    return int(math.copysign(math.floor(abs(exact) + 0.5), exact))


scales = st.one_of(
    st.builds(lambda thousandths: Fraction(thousandths, 1000), st.integers(1_000, 2_000_000)),
    st.sampled_from(
        [Fraction("26.667"), Fraction("17.778"), Fraction("1600"), Fraction("80.214"), Fraction("14222.222")]
    ),
)


@settings(deadline=None, max_examples=50)
@given(scale=scales, targets=st.lists(st.integers(-200_000, 200_000), min_size=1, max_size=40))
def test_every_coordinate_lands_on_its_step(scale: Fraction, targets: list[int]) -> None:
    coordinates = prove_coordinates(np.array(targets, dtype=np.int64), StoredScale.exactly(scale))
    for index, target in enumerate(targets):
        text = coordinates.text(index)
        assert PLAIN.fullmatch(text)
        assert landed(text, scale) == target
        assert abs(Fraction(text) * scale - target) < Fraction(1, 20)
        assert coordinates.values()[index] == pytest.approx(float(text))


@settings(deadline=None, max_examples=25)
@given(
    printed=st.integers(5_000, 500_000),
    off=st.floats(-0.5, 0.5),
    targets=st.lists(st.integers(-60, 60), min_size=1, max_size=20),
)
def test_a_scale_known_to_half_its_last_digit_lands_for_every_value_it_may_have(
    printed: int, off: float, targets: list[int]
) -> None:
    held = StoredScale(Fraction(2 * printed - 1, 2000), Fraction(2 * printed + 1, 2000))
    # Within 0.4 step of every target for both ends: the interval is 1/printed wide, so 0.2*printed targets are safe.
    rows = np.array(targets, dtype=np.int64) * (printed // 200)
    coordinates = prove_coordinates(rows, held)
    really = Fraction(printed, 1000) + Fraction(off) / 1000
    for index, target in enumerate(rows.tolist()):
        assert landed(coordinates.text(index), really) == target


def test_a_scale_that_is_not_known_well_enough_is_refused_and_accepted_when_exact() -> None:
    # 17.778 printed may be 17.7775 to 17.7785 held; 1134 units away that is 20160 +- 0.567 steps: beside the step.
    targets = np.array([round(1134 * Fraction("17.778"))], dtype=np.int64)
    assert targets.tolist() == [20160]
    held = StoredScale(Fraction("17.7775"), Fraction("17.7785"))
    with pytest.raises(
        CoordinateError,
        match=r"beside step 20160: off by up to: 0\.5\d+ steps, limit 0\.45 steps\. Write the steps-per",
    ):
        prove_coordinates(targets, held)
    exact = prove_coordinates(targets, StoredScale.exactly(Fraction("17.778")))
    assert landed(exact.text(0), Fraction("17.778")) == 20160


def test_the_interval_allows_what_is_near_zero_only() -> None:
    held = StoredScale(Fraction("17.7775"), Fraction("17.7785"))
    # Half of the relative width is 0.0005/17.778 = 2.8e-5; 0.45 step of room is used up at 16000 steps.
    prove_coordinates(np.array([-15_500, 0, 15_500]), held)
    with pytest.raises(CoordinateError, match="beside step 16500"):
        prove_coordinates(np.array([0, 16_500]), held)
    # 16500*0.0005/17.778 = 0.464: less room than usual, but not yet beside the step.
    prove_coordinates(np.array([0, 16_500]), held, room=0.02)


def test_what_a_32_bit_float_cannot_tell_apart_is_refused() -> None:
    with pytest.raises(
        CoordinateError, match=r"32-bit arithmetic: 4\.1943\d*e\+06 steps, limit 4\.1943e\+06 steps\. Home"
    ):
        prove_coordinates(np.array([0, LARGEST_STEPS + 1]), StoredScale.exactly(Fraction(100)))
    with pytest.raises(CoordinateError, match=r"too far from machine zero"):
        prove_coordinates(np.array([-(LARGEST_STEPS + 1)]), StoredScale.exactly(Fraction(100)))


def test_a_fine_machine_far_out_is_told_to_stay_nearer_to_zero() -> None:
    # 200 full steps x 256 microsteps x 100:1 make 5.12 million steps per turn: there is room for a third of a turn.
    scale = StoredScale.exactly(Fraction("14222.222"))
    prove_coordinates(np.array([-1_500_000, 1_500_000]), scale)
    with pytest.raises(CoordinateError, match=r"beside step 3650370.*Begin nearer to machine zero, or set fewer micro"):
        prove_coordinates(np.array([0, 3_650_370]), scale)


def test_no_target_within_the_limit_is_passed_that_two_units_in_the_last_place_would_spoil() -> None:
    # Up to 2^20 steps two units in the last place of the coordinate and the rounding of the product stay below half a
    # step (relative 2.4e-7 + 0.6e-7 of 2^20 is 0.31), so every target there must pass.
    rng = np.random.default_rng(5)
    scale = Fraction("26.667")
    targets = rng.integers(-(1 << 20), 1 << 20, 2000)
    coordinates = prove_coordinates(targets, StoredScale.exactly(scale))
    for index, target in enumerate(targets.tolist()):
        read = np.float32(coordinates.text(index))
        for towards in (-np.inf, np.inf):
            off = np.nextafter(np.nextafter(read, np.float32(towards)), np.float32(towards))
            product = float(off * np.float32(float(scale)))
            assert round(product) == target


def test_the_scale_as_written_has_three_decimals() -> None:
    # 3200/360 = 8.888... is written 8.889, and targets are planned on that.
    held = StoredScale.as_written(Fraction(3200, 360))
    assert held == StoredScale(Fraction("8.889"), Fraction("8.889"))
    assert held.middle == Fraction("8.889")
    assert prove_coordinates(np.array([3200]), held).text(0) == "359.996"
    assert StoredScale(Fraction(1), Fraction(2)).middle == Fraction(3, 2)


@pytest.mark.parametrize(
    ("scaled", "decimals", "text"),
    [
        (0, 3, "0.000"),
        (0, 8, "0.00000000"),
        (5, 8, "0.00000005"),
        (-5, 7, "-0.0000005"),
        (-22913, 3, "-22.913"),
        (-1, 3, "-0.001"),
        (123456789012, 3, "123456789.012"),
    ],
)
def test_a_coordinate_is_plain_decimal_text(scaled: int, decimals: int, text: str) -> None:
    # Controllers read digits, a point and a sign; "5E-8" would be read as 5, or refused.
    assert Coordinates(np.array([scaled], dtype=np.int64), decimals).text(0) == text


def test_a_fine_machine_s_coordinates_have_no_exponent() -> None:
    # 200 full steps x 256 microsteps x 100:1 is 14222.222 steps per degree: seven decimals.
    coordinates = prove_coordinates(np.array([0, 1, -1, 200_000]), StoredScale.exactly(Fraction("14222.222")))
    assert coordinates.decimals == 7
    assert [coordinates.text(index) for index in range(3)] == ["0.0000000", "0.0000703", "-0.0000703"]


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (Fraction(1, 8), 2, "0.12"),
        (Fraction(3, 8), 2, "0.38"),
        (Fraction(-1, 8), 2, "-0.12"),
        (Fraction(1, 8) + Fraction(1, 10**40), 2, "0.13"),
        (Fraction(-1, 10**6), 3, "0.000"),
        (Fraction(80, 3), 3, "26.667"),
        (Fraction(1, 10**7), 8, "0.00000010"),
    ],
)
def test_a_fraction_is_written_exactly_with_ties_to_even(value: Fraction, decimals: int, text: str) -> None:
    assert decimal_text(value, decimals) == text


@given(value=st.fractions(min_value=-(10**6), max_value=10**6), decimals=st.integers(0, 10))
def test_decimal_text_is_within_half_of_its_last_place(value: Fraction, decimals: int) -> None:
    assert abs(Fraction(decimal_text(value, decimals)) - value) * 10**decimals <= Fraction(1, 2)


def test_a_degree_of_a_chuck_is_one_unit_and_of_a_part_on_rollers_is_more() -> None:
    # One turn of an 80 mm part is 80/25.4 turns of the roller, 1133.858 deg of it.
    steps_per_degree = Fraction(6400, 360)
    assert axis_units(2 * math.pi, Fraction(6400), steps_per_degree) == pytest.approx(360)
    assert axis_units(2 * math.pi, Fraction(2_560_000, 127), steps_per_degree) == pytest.approx(1133.858268)


def test_a_feed_is_units_per_minute_and_never_above_what_was_asked_for() -> None:
    # 1 rad/s on a chuck in degrees: 57.29578 deg/s = 3437.7467708 deg/min (NIST RS274/NGC v3, section 2.1.2.5).
    assert feed_text(1.0, Fraction(9600), Fraction(9600, 360)) == "3437.74"
    assert floor_text(0.9999, 3) == "0.999"
    assert floor_text(2.0, 3) == "2.000"
    assert floor_text(1e-9, 3) == "0.001"


@given(value=st.floats(0.001, 1e9))
def test_a_text_rounded_down_is_never_above_and_survives_a_32_bit_float(value: float) -> None:
    text = floor_text(value, 3)
    lost = Fraction(value) - Fraction(text)
    assert 0 <= lost < max(Fraction(1, 1000), Fraction(value) / 10**5)
    # Outside source: numpy.float32 holds what is sent, and prints six digits of it as they were sent.
    assert float(f"{np.float32(text):.6g}") == float(text)
    assert re.fullmatch(r"\d+(\.\d{1,3})?", text)
