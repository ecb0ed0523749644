"""Creep against elasticity's integral equation, walking against the cross product of axis and radius."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.contact import creep


@pytest.mark.parametrize("used", [0.2, 0.6, 0.95], ids=lambda used: f"{used:.0%} of the grip")
def test_carter_s_traction_strains_the_stuck_zone_evenly_by_the_creep(used: float) -> None:
    # Flamant's half plane, both bodies: strain difference at x = 2/(pi E*) PV int q(s)/(x - s) ds (SciPy's Cauchy
    # weight). Where the bodies stick it must not depend on x, and it is the creep.
    mu, half_width, part, roller = 0.35, 0.8e-3, 0.08, 0.025
    curvature = 2 / part + 2 / roller
    modulus = 5e6
    peak = half_width * modulus * curvature / 2  # Hertz: p0 = a E*/(2 R)
    stuck = half_width * math.sqrt(1 - used)
    middle = -(half_width - stuck)

    def cauchy(width: float, centre: float, at: float) -> float:
        def ellipse(s: float) -> float:
            return math.sqrt(max(0.0, 1 - ((s - centre) / width) ** 2))

        ends = centre - width, centre + width
        return -integrate.quad(ellipse, *ends, weight="cauchy", wvar=at, limit=400)[0]

    for place in (-0.3, 0.0, 0.4):
        at = middle + place * stuck
        strain = mu * peak * (cauchy(half_width, 0.0, at) - stuck / half_width * cauchy(stuck, middle, at))
        expected = creep.creep_ratio(used, mu, 2 * half_width, part, roller)
        assert abs(2 / (math.pi * modulus) * strain) == pytest.approx(expected, rel=1e-4)


def test_creep_ends_in_slip_and_begins_with_nothing() -> None:
    assert creep.creep_ratio(0.0, 0.3, 1e-3, 0.08, 0.025) == 0.0
    assert creep.creep_ratio(1.0, 0.3, 1e-3, 0.08, 0.025) == pytest.approx(0.3 * 0.5e-3 * (25 + 80))
    assert math.isinf(creep.creep_ratio(1.01, 0.3, 1e-3, 0.08, 0.025))


def height(radius: float, roller: float, distance: float) -> float:
    """Height of a section's centre over the rollers' centres, from the contact condition by root finding."""
    found = optimize.brentq(lambda h: math.hypot(distance / 2, h) - radius - roller, 1e-9, radius + roller)
    return float(found)


def test_a_cone_lies_tilted_by_what_its_sections_sink() -> None:
    roller, distance, radius, taper, step = 0.0125, 0.045, 0.03, 0.1, 1e-5
    half_angle = math.asin(distance / 2 / (radius + roller))
    rise = height(radius + taper * step, roller, distance) - height(radius - taper * step, roller, distance)
    assert math.tan(creep.axis_tilt(taper, half_angle)) == pytest.approx(rise / (2 * step), rel=1e-6)


def test_the_walk_is_the_surface_s_speed_along_the_rollers_weighted_by_the_normals() -> None:
    diameter, taper, half_angle = 0.06, 0.08, 0.6
    tilt = creep.axis_tilt(taper, half_angle)
    axis = np.array([math.cos(tilt), 0.0, math.sin(tilt)])
    along = [
        float(np.cross(axis, diameter / 2 * np.array([0.0, side * math.sin(half_angle), -math.cos(half_angle)]))[0])
        for side in (-1, 1)
    ]
    assert along[0] == pytest.approx(-along[1])
    shares = np.array([0.7, 0.3])
    walked = 2 * math.pi * abs(float(shares @ along))
    assert creep.walk_per_turn(diameter, taper, half_angle, 0.4) == pytest.approx(walked, rel=1e-12)


def test_nothing_walks_without_taper_or_on_even_rows() -> None:
    assert creep.walk_per_turn(0.06, 0.0, 0.6, 1.0) == 0.0
    assert creep.walk_per_turn(0.06, 0.1, 0.6, 0.0) == 0.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        pytest.param(lambda: creep.creep_ratio(0.5, 0.3, 0.0, 0.1, 0.1), "contact width: 0 m", id="no contact"),
        pytest.param(lambda: creep.walk_per_turn(0.06, 0.1, 0.6, 1.2), r"normals: 1\.2, limit 1", id="too uneven"),
        pytest.param(lambda: creep.axis_tilt(0.1, 1.6), "half-angle: 1.6 rad", id="beyond a quarter turn"),
        pytest.param(lambda: creep.axis_tilt(-0.1, 0.6), r"taper: -0\.1", id="negative taper"),
    ],
)
def test_values_that_mean_nothing_are_refused(call: object, words: str) -> None:
    with pytest.raises(FormulaRangeError, match=words):
        call()  # type: ignore[operator]
