"""Depth of focus against Gaussian-beam propagation, heat and braking energy against integration."""

import math

import numpy as np
import pytest
from scipy import integrate

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.motor import heat, supply
from firmware_host.mechanics.optics import beam


def propagated_radius(waist: float, wavelength: float, distance: float) -> float:
    """Beam radius after free space, from the complex q-parameter: 1/q = 1/R - i lambda/(pi w^2)."""
    q = 1j * math.pi * waist**2 / wavelength + distance
    return math.sqrt(-wavelength / (math.pi * (1 / q).imag))


@pytest.mark.parametrize("growth", [pytest.param(1.05, id="five per cent"), pytest.param(math.sqrt(2), id="root two")])
def test_at_the_window_edge_a_propagated_beam_has_grown_by_what_was_allowed(growth: float) -> None:
    waist, wavelength = 20e-6, 1.064e-6
    depth = beam.window_half_depth(beam.rayleigh_length(waist, wavelength), growth)
    assert propagated_radius(waist, wavelength, depth) / waist == pytest.approx(growth, rel=1e-12)


def test_a_worse_beam_of_the_same_spot_has_a_shorter_window() -> None:
    # ISO 11146-1: z_R scales with 1/M^2. 20 um, 1064 nm, M^2 = 1: 1.181 mm.
    assert beam.rayleigh_length(20e-6, 1.064e-6) == pytest.approx(1.181e-3, rel=1e-3)
    assert beam.rayleigh_length(20e-6, 1.064e-6, 1.6) == pytest.approx(1.181e-3 / 1.6, rel=1e-3)


def test_a_spot_that_must_not_grow_leaves_no_window() -> None:
    with pytest.raises(FormulaRangeError, match="spot growth: 1, limit 1"):
        beam.window_half_depth(1e-3, 1.0)
    with pytest.raises(FormulaRangeError, match=r"M\^2: 0\.9"):
        beam.rayleigh_length(20e-6, 1.064e-6, 0.9)


def test_copper_loss_is_the_same_at_every_microstep_and_twice_the_rms_loss() -> None:
    peak, resistance = 2.0, 1.5
    angles = np.linspace(0, 2 * math.pi, 7)
    held = ((peak * np.cos(angles)) ** 2 + (peak * np.sin(angles)) ** 2) * resistance
    assert held == pytest.approx(np.full(7, heat.hold_copper_loss(peak / math.sqrt(2), resistance)))


def test_the_supply_rises_by_what_the_stopped_mass_charges_into_it() -> None:
    # Integrated: braking power J a omega goes into C u du/dt (SciPy).
    inertia, speed, volts, farad, braking = 2e-3, 40.0, 24.0, 1e-3, 200.0
    solution = integrate.solve_ivp(
        lambda t, u: inertia * braking * (speed - braking * t) / (farad * u),
        (0, speed / braking),
        [volts],
        rtol=1e-10,
        atol=1e-12,
    )
    energy = supply.braking_energy(inertia, speed)
    assert supply.charged_voltage(energy, volts, farad) == pytest.approx(solution.y[0, -1], rel=1e-9)
