"""Overhang, tailstock, bearings and imbalance against statics solved another way."""

import numpy as np
import pytest
from scipy import constants

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.contact import support


def two_supports(mass: float, at: float, first: float, second: float) -> np.ndarray:
    """Reactions of a beam on two supports, from force and moment balance (numpy.linalg)."""
    balance = np.array([[1.0, 1.0], [first, second]])
    return np.linalg.solve(balance, [mass * constants.g, mass * constants.g * at])


def test_the_tailstock_takes_its_share_of_the_weight() -> None:
    loads = support.tailstock_share(4.0, 0.15, 0.5)
    assert loads == pytest.approx(two_supports(4.0, 0.15, 0.0, 0.5))


def test_a_centre_of_mass_beyond_the_tailstock_pulls_the_chuck_up() -> None:
    on_chuck, on_tailstock = support.tailstock_share(4.0, 0.6, 0.5)
    assert on_chuck < 0 < on_tailstock


def test_an_overhung_part_loads_the_front_bearing_with_more_than_its_weight() -> None:
    front, rear = support.bearing_loads(2.0, 0.1, 0.04)
    assert (rear, front) == pytest.approx(two_supports(2.0, 0.1, -0.04, 0.0))
    assert front == pytest.approx(2.0 * constants.g * 3.5)


def test_overhang_and_imbalance_are_weight_times_distance() -> None:
    assert support.overhang_moment(1.5, 0.2) == pytest.approx(1.5 * constants.g * 0.2)
    assert support.imbalance_torque(0.8, 0.003) == pytest.approx(0.8 * constants.g * 0.003)


def test_a_negative_overhang_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match=r"distance to the centre of mass: -0\.1 m"):
        support.overhang_moment(1.0, -0.1)
