"""Hollow cones and stepped shafts at the ends of their ranges; the bodies between are checked against meshes."""

import math

import pytest

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.body import inertia
from firmware_host.mechanics.body.shell import shell_per_mass, shell_volume
from firmware_host.mechanics.body.stepped import Step, stepped_per_mass, stepped_volume


def test_a_hollow_cone_without_taper_is_a_tube() -> None:
    assert shell_volume(0.04, 0.04, 0.003, 0.1) == pytest.approx(inertia.tube_volume(0.04, 0.037, 0.1))
    assert shell_per_mass(0.04, 0.04, 0.003, 0.1) == pytest.approx(inertia.tube_inertia(1.0, 0.04, 0.037))


def test_a_very_thin_cone_is_the_integral_of_its_rings() -> None:
    # Surface rings: int r^3 dz/int r dz = (R + r)(R^2 + r^2)/4 / ((R + r)/2) = (R^2 + r^2)/2.
    assert shell_per_mass(0.05, 0.03, 1e-7, 0.2) == pytest.approx((0.05**2 + 0.03**2) / 2, rel=1e-5)
    assert shell_volume(0.05, 0.03, 1e-7, 0.2) == pytest.approx(2 * math.pi * 0.04 * 1e-7 * 0.2, rel=1e-5)


def test_equal_steps_are_one_cylinder() -> None:
    steps = [Step(0.02, 0.03), Step(0.02, 0.07)]
    assert stepped_volume(steps) == pytest.approx(inertia.cylinder_volume(0.02, 0.1))
    assert stepped_per_mass(steps) == pytest.approx(inertia.solid_cylinder_inertia(1.0, 0.02))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        pytest.param(lambda: shell_volume(0.05, 0.03, 0.03, 0.2), r"wall: 0\.03 m, limit 0\.03 m", id="no hollow"),
        pytest.param(lambda: shell_volume(0.05, 0.03, 0.0, 0.2), r"wall: 0 m", id="no wall"),
        pytest.param(lambda: stepped_volume([]), "number of steps: 0", id="no step"),
        pytest.param(lambda: stepped_per_mass([Step(0.02, 0.1, 0.02)]), "inner radius: 0.02 m", id="bored through"),
    ],
)
def test_a_shape_that_cannot_be_is_refused(call: object, words: str) -> None:
    with pytest.raises(FormulaRangeError, match=words):
        call()  # type: ignore[operator]
