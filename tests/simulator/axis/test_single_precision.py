from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.simulator.axis.single_precision import INT32_MAX, lround, single, to_position, to_steps

singles = st.floats(width=32, allow_nan=False, allow_infinity=False)
plain = st.floats(min_value=-1e6, max_value=1e6, width=32)


@given(st.floats())
def test_any_value_is_rounded_as_32_bit_hardware_does(value: float) -> None:
    # Source: numpy's conversion to float32, overflow to infinity and subnormal numbers included.
    with np.errstate(over="ignore"):
        expected = float(np.float32(value))
    rounded = single(value)
    assert rounded == expected or (math.isnan(rounded) and math.isnan(value))
    assert math.copysign(1, rounded) == math.copysign(1, expected)


@given(plain, plain)
def test_an_operation_in_64_bits_rounded_once_is_the_32_bit_operation(a: float, b: float) -> None:
    # Source: numpy's own float32 arithmetic, which the board's code never uses.
    assert single(a + b) == float(np.float32(a) + np.float32(b))
    assert single(a * b) == float(np.float32(a) * np.float32(b))


@given(plain, st.floats(min_value=0.0625, max_value=4096, width=32))
def test_steps_are_the_32_bit_product_rounded(position: float, steps_per_unit: float) -> None:
    product = np.float32(position) * np.float32(steps_per_unit)
    whole = np.trunc(np.float64(product) + np.copysign(0.5, np.float64(product)))
    assert to_steps(position, steps_per_unit) == int(np.clip(whole, -INT32_MAX, INT32_MAX))


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.5, 1), (-0.5, -1), (1.5, 2), (2.5, 3), (-2.5, -3), (0.49999997, 0), (-7.4, -7), (8388607.5, 8388608)],
    ids=str,
)
def test_halves_round_away_from_zero(value: float, expected: int) -> None:
    # Source: ISO C, lround.
    assert lround(value) == expected


@pytest.mark.parametrize(("value", "expected"), [(math.inf, INT32_MAX), (-1e30, -INT32_MAX), (math.nan, 0)], ids=str)
def test_what_does_not_fit_saturates(value: float, expected: int) -> None:
    assert lround(value) == expected


@given(singles)
def test_rounding_twice_changes_nothing(value: float) -> None:
    assert single(value) == value


def test_too_large_for_32_bits_is_an_infinity() -> None:
    assert single(1e39) == math.inf
    assert single(-1e39) == -math.inf


def test_above_two_to_the_24_a_position_falls_on_every_second_step_only() -> None:
    position = to_position(2**24 + 2, 1.0)
    assert to_steps(single(position + 1), 1.0) in (2**24 + 2, 2**24 + 4)
    assert to_steps(single(to_position(2**22, 1.0) + 1), 1.0) == 2**22 + 1
