"""The marking window against a numerical solution of the circle, and its limits."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from firmware_host.errors import WindowError
from firmware_host.model.job.window import Window
from firmware_host.planning.layout.window import marking_window


def window(**keys: Any) -> Window:
    return Window.model_validate(keys)


def sag_of_a_circle(radius: float, half_angle: float) -> float:
    """Independent of the cosine: the crown's height over the chord's, from the circle's equation x^2 + y^2 = r^2."""
    x = radius * math.sin(half_angle)
    return radius - math.sqrt(radius * radius - x * x)


@given(radius=st.floats(2e-3, 0.5), part=st.floats(1e-4, 0.4), focus=st.sampled_from(["crown", "balanced"]))
def test_the_widest_segment_s_edge_lies_at_the_limit_of_the_window(radius: float, part: float, focus: str) -> None:
    half_depth_mm = round(radius * part * 1e3, 6)
    allowed = half_depth_mm / 1e3 * (1 if focus == "crown" else 2)
    limits = marking_window(window(half_depth=f"{half_depth_mm:.6f} mm", focus=focus), radius)
    # Outside source: the root found by scipy's brentq.
    root = brentq(lambda phi: sag_of_a_circle(radius, phi) - allowed, 0.0, math.pi / 2, xtol=1e-14)
    assert limits.half_angle == pytest.approx(root, rel=1e-6)
    assert limits.binding.name == "depth of focus"
    assert limits.sag(limits.half_angle) == pytest.approx(allowed, rel=1e-9)
    assert limits.sag_limit == pytest.approx(allowed)


@pytest.mark.parametrize(
    ("focus", "widest_deg"),
    # 50 mm, +-0.5 mm: 2 arccos(1 - 0.5/25) = 2 arccos(0.98) and 2 arccos(1 - 1/25) = 2 arccos(0.96).
    # By hand from tables, cos 11.478 deg = 0.9800 and cos 16.260 deg = 0.9600 (the 7-24-25 triangle: sin = 0.28).
    [("crown", 22.96), ("balanced", 32.52)],
)
def test_a_50_mm_part_with_half_a_millimetre_of_depth(focus: str, widest_deg: float) -> None:
    limits = marking_window(window(half_depth="0.5 mm", focus=focus), 0.025)
    assert limits.widest_deg == pytest.approx(widest_deg, abs=0.005)


def test_balanced_focus_makes_a_segment_about_root_two_times_as_wide() -> None:
    crown = marking_window(window(half_depth="0.05 mm"), 0.025)
    balanced = marking_window(window(half_depth="0.05 mm", focus="balanced"), 0.025)
    assert balanced.half_angle / crown.half_angle == pytest.approx(math.sqrt(2), rel=1e-3)
    assert balanced.half_angle / crown.half_angle > math.sqrt(2)


def test_balanced_focus_puts_crown_and_edge_equally_far_from_the_focal_plane() -> None:
    limits = marking_window(window(half_depth="0.5 mm", focus="balanced"), 0.025)
    depth = limits.focal_depth(limits.half_angle)
    assert depth == pytest.approx(0.5e-3, rel=1e-12)
    heights = np.array([sag_of_a_circle(0.025, phi) for phi in np.linspace(0, limits.half_angle, 200)])
    assert np.abs(heights - depth).max() == pytest.approx(0.5e-3, rel=1e-9)
    assert marking_window(window(half_depth="0.5 mm"), 0.025).focal_depth(0.2) == 0.0


def test_the_narrowest_of_the_bounds_decides() -> None:
    limits = marking_window(window(half_depth="2 mm", incidence_limit="20 deg", lens_field="30 mm"), 0.025)
    by_name = {bound.name: math.degrees(bound.half_angle) for bound in limits.bounds}
    assert by_name["incidence limit"] == pytest.approx(20)
    # chord 2*25*sin(phi) = 30 -> sin(phi) = 0.6, the 3-4-5 triangle: 36.87 deg.
    assert by_name["lens field"] == pytest.approx(36.869897645844)
    # 1 - 2/25 = 0.92 -> 23.07 deg.
    assert by_name["depth of focus"] == pytest.approx(23.0739180656)
    assert limits.binding.name == "incidence limit"
    assert limits.widest_deg == pytest.approx(40)


def test_the_incidence_limit_is_the_angle_between_beam_and_normal() -> None:
    # Independent: the normal at phi from the crown is (sin phi, cos phi), the beam comes from (0, 1).
    limits = marking_window(window(half_depth="5 mm", incidence_limit="30 deg"), 0.02)
    normal = np.array([math.sin(limits.half_angle), math.cos(limits.half_angle)])
    assert math.degrees(math.acos(float(normal @ [0.0, 1.0]))) == pytest.approx(30)


def test_a_field_wider_than_the_part_bounds_nothing() -> None:
    limits = marking_window(window(half_depth="0.5 mm", lens_field="50 mm"), 0.025)
    assert [bound.name for bound in limits.bounds] == ["depth of focus"]


def test_the_half_depth_follows_from_the_beam() -> None:
    beam = {"waist_diameter": "0.06 mm", "wavelength": "1064 nm", "beam_quality": 1.5, "spot_growth": 1.1}
    limits = marking_window(window(beam=beam), 0.025)
    # By hand (ISO 11146-1): z_R = pi*(30e-6)^2/(1.5*1.064e-6) = 1.77155e-3 m; z = z_R*sqrt(1.21 - 1) = 0.81183e-3 m.
    assert limits.half_depth == pytest.approx(0.81183e-3, rel=1e-4)
    # Independent: at that distance the caustic w0*sqrt(1 + (z/z_R)^2) has grown by the growth allowed.
    rayleigh = math.pi * (30e-6) ** 2 / (1.5 * 1.064e-6)
    assert math.hypot(1, limits.half_depth / rayleigh) == pytest.approx(1.1, rel=1e-12)


@pytest.mark.parametrize("half_depth", ["25 mm", "30 mm", "1 m"])
def test_a_window_as_deep_as_the_radius_is_refused(half_depth: str) -> None:
    with pytest.raises(
        WindowError, match=r"deeper than the part's radius: half-depth: \d+ mm, limit 25 mm\. Check window"
    ):
        marking_window(window(half_depth=half_depth), 0.025)


def test_a_balanced_window_past_the_horizon_needs_another_bound() -> None:
    deep = window(half_depth="13 mm", focus="balanced")
    with pytest.raises(WindowError, match=r"sag: 26 mm, limit 25 mm\. Give window\.incidence_limit"):
        marking_window(deep, 0.025)
    limits = marking_window(window(half_depth="13 mm", focus="balanced", incidence_limit="60 deg"), 0.025)
    assert limits.binding.name == "incidence limit"
    assert limits.widest_deg == pytest.approx(120)
