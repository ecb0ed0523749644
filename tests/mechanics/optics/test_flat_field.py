"""Artwork drawn flat, rays that slant, and cones, against rays followed step by step and a cone that is turned."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.optics.cone import band_rise, edge_gap
from firmware_host.mechanics.optics.flat_field import edge_excess, landing_arc


def traced(drawn: float, radius: float, depth: float, focal_length: float | None) -> float:
    """The arc at which a ray lands, found by going down it from the lens until it is in the circle (SciPy's root)."""
    lens_height = (focal_length if focal_length is not None else 1.0) - depth

    def outside(down: float) -> float:
        """How far outside the circle (centre at -radius) the ray is, `down` below the lens's height."""
        across = drawn * down / (lens_height + depth) if focal_length is not None else drawn
        return math.hypot(across, lens_height - down + radius) - radius

    steps = np.linspace(0.0, lens_height + radius, 20_001)
    first = next(k for k, down in enumerate(steps) if outside(float(down)) <= 0)
    down = 0.0 if first == 0 else brentq(outside, steps[first - 1], steps[first], xtol=1e-15)
    across = drawn * down / (lens_height + depth) if focal_length is not None else drawn
    return radius * math.atan2(across, lens_height - down + radius)


@pytest.mark.parametrize("focal_length", [None, 0.1, 0.16, 0.5], ids=["telecentric", "100 mm", "160 mm", "500 mm"])
@pytest.mark.parametrize("depth", [0.0, 0.9e-3], ids=["crown", "balanced"])
@pytest.mark.parametrize("drawn", [0.0, 3e-3, 12e-3, 20e-3])
def test_a_ray_lands_where_following_it_down_finds_it(drawn: float, depth: float, focal_length: float | None) -> None:
    found = float(landing_arc(drawn, 0.04, focal_depth=depth, focal_length=focal_length))
    assert found == pytest.approx(traced(drawn, 0.04, depth, focal_length), abs=1e-9)


def test_a_flat_strip_is_too_wide_by_the_arc_over_its_chord() -> None:
    # 80 mm part, strips of 20 mm and 24 mm: 2 (40 asin(0.25) - 10) = 0.2144 mm and 2 (40 asin(0.3) - 12) = 0.3754 mm.
    twice = 2e3 * edge_excess(np.array([0.020, 0.024]), 0.04, corrected=False)
    assert twice == pytest.approx([0.21442, 0.37541], abs=1e-5)
    assert edge_excess(0.024, 0.04, corrected=True) == pytest.approx(0, abs=1e-15)


def test_a_slant_lands_about_the_depth_times_its_slope_further_out() -> None:
    # Thin strips: 1 mm below the focal plane, at 4 mm under a lens of 160 mm, 1 * 4/160 = 0.025 mm; 1/cos(phi) on top.
    radius, half = 0.04, 4e-3
    depth_below = radius - math.sqrt(radius**2 - half**2)
    more = edge_excess(2 * half, radius, corrected=False, focal_length=0.16) - edge_excess(
        2 * half, radius, corrected=False
    )
    assert float(more) == pytest.approx(depth_below * half / 0.16, rel=0.01)
    # Above the focal plane it lands inwards.
    assert edge_excess(2 * half, radius, corrected=True, focal_depth=1e-3, focal_length=0.16) < 0


def test_a_strip_wider_than_the_part_covers_it_to_the_horizon() -> None:
    assert np.isnan(landing_arc(0.041, 0.04))
    assert float(edge_excess(0.1, 0.04, corrected=False)) == pytest.approx(0.04 * math.pi / 2 - 0.05)
    with pytest.raises(FormulaRangeError, match="focal length"):
        landing_arc(0.01, 0.04, focal_length=0.0)


def test_a_turned_cone_opens_at_its_thick_edge_what_it_closes_at_its_thin_one() -> None:
    # A frustum that loses 5 mm of diameter over 180 mm, a band of 90 mm in its middle (77.5 mm), 10 segments.
    pitch, taper = math.pi * 0.0775 / 10, 2.5 / 180
    for place, sign in ((0.045, 1), (-0.045, -1)):
        travelled = math.pi * (0.0775 + 2 * taper * place) / 10
        assert sign * float(edge_gap(pitch, taper, 0.045, 0.0775)) == pytest.approx(travelled - pitch)
    assert float(edge_gap(pitch, taper, 0.045, 0.0775)) == pytest.approx(0.39e-3, abs=0.005e-3)
    assert band_rise(taper, 0.045) == pytest.approx(0.045 * 2.5 / 180)
