"""The light that a Gaussian beam leaves, beside the beam's own formulas and a numerical integral."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.optics.beam import rayleigh_length, window_half_depth
from firmware_host.mechanics.optics.exposure import relative_fluence, spot_growth_at


def test_at_the_rayleigh_length_the_area_has_doubled() -> None:
    length = rayleigh_length(25e-6, 1064e-9, 1.3)
    assert spot_growth_at(length, length) == pytest.approx(math.sqrt(2))
    assert relative_fluence(length, 1.0, length) == pytest.approx(0.5)


def test_the_window_ends_where_the_spot_has_grown_so_much() -> None:
    length = rayleigh_length(25e-6, 1064e-9)
    assert spot_growth_at(window_half_depth(length, 1.1), length) == pytest.approx(1.1)
    assert spot_growth_at(-window_half_depth(length, 1.1), length) == pytest.approx(1.1)


def test_the_peak_falls_as_the_same_energy_covers_more() -> None:
    across = np.linspace(-1e-3, 1e-3, 2001)
    x, y = np.meshgrid(across, across)
    for growth in (1.0, 1.3):
        w = 1e-4 * growth
        spread = np.exp(-2 * (x**2 + y**2) / w**2)
        energy = spread.sum() * (across[1] - across[0]) ** 2
        peak = 1 / energy
        defocus = math.sqrt(growth**2 - 1)
        assert float(relative_fluence(defocus, 1.0, 1.0)) == pytest.approx(peak * math.pi * 1e-8 / 2, rel=1e-6)


def test_a_slant_spreads_it_and_what_looks_away_gets_none() -> None:
    assert relative_fluence(0.0, math.cos(math.radians(60)), 1e-3) == pytest.approx(0.5)
    assert relative_fluence(0.0, -0.2, 1e-3) == 0.0


def test_a_beam_without_length_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match="Rayleigh length"):
        spot_growth_at(0.0, 0.0)
