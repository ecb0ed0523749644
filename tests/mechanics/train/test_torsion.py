"""Natural frequencies of a train that twists, against SciPy's eigenvalues, an integration, and three limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, linalg

from firmware_host.mechanics.train.torsion import train_modes

# Rotor with pulley and load with pulley, as seen from the motor, and the magnetic spring: invented.
J1, J2, KM = 3.3e-5, 2.4e-4, 50 * 0.67
PAIRS = [pytest.param(k, id=f"{k:g} N m per rad") for k in (2.0, 20.0, 50.0, 400.0)]


@pytest.mark.parametrize("k", PAIRS)
def test_two_frequencies_are_the_eigenvalues_of_stiffness_and_mass(k: float) -> None:
    stiffness, mass = np.array([[KM + k, -k], [-k, k]]), np.diag([J1, J2])
    assert train_modes(KM, [J1, J2], [k]).frequencies ** 2 == pytest.approx(linalg.eigh(stiffness, mass)[0])


def test_three_bodies_and_two_belts_likewise() -> None:
    masses, k1, k2 = [3e-5, 5e-5, 2e-4], 40.0, 90.0
    stiffness = np.array([[KM + k1, -k1, 0], [-k1, k1 + k2, -k2], [0, -k2, k2]])
    found = train_modes(KM, masses, [k1, k2])
    assert found.frequencies**2 == pytest.approx(linalg.eigh(stiffness, np.diag(masses))[0])
    assert found.part_shares.sum() == pytest.approx(1.0)


@pytest.mark.parametrize("k", PAIRS)
def test_the_lower_lies_below_the_stiff_train_and_the_held_rotor_the_upper_above_the_free_pair(k: float) -> None:
    low, high = train_modes(KM, [J1, J2], [k]).frequencies
    assert low < math.sqrt(KM / (J1 + J2))
    assert low < math.sqrt(k / J2)
    assert high > math.sqrt(k * (1 / J1 + 1 / J2))


def test_three_limits_are_met() -> None:
    stiff = train_modes(KM, [J1, J2], [1e9])
    assert stiff.lowest == pytest.approx(math.sqrt(KM / (J1 + J2)), rel=1e-6)
    assert stiff.part_shares[0] == pytest.approx(1.0, abs=1e-6)
    held = train_modes(1e9, [J1, J2], [50.0])
    assert held.lowest == pytest.approx(math.sqrt(50.0 / J2), rel=1e-6)
    free = train_modes(1e-6, [J1, J2], [50.0])
    assert free.frequencies[1] == pytest.approx(math.sqrt(50.0 * (1 / J1 + 1 / J2)), rel=1e-6)


def test_one_body_is_the_plain_oscillator() -> None:
    assert train_modes(KM, [J1 + J2], []).lowest == pytest.approx(math.sqrt(KM / (J1 + J2)))


@pytest.mark.parametrize("k", PAIRS)
def test_the_part_swings_as_the_shares_of_its_modes_say(k: float) -> None:
    # Lag of the part behind a command that sets off with 100 rad/s^2, integrated; superposition of the modes beside it.
    a, end = 100.0, 0.05

    def lags(_: float, y: np.ndarray) -> list[float]:
        e1, e2, v1, v2 = y
        return [v1, v2, a - (KM * e1 + k * (e1 - e2)) / J1, a - k * (e2 - e1) / J2]

    times = np.linspace(0, end, 400)
    solved = integrate.solve_ivp(lags, (0, end), [0.0] * 4, t_eval=times, rtol=1e-10, atol=1e-14)
    modes = train_modes(KM, [J1, J2], [k])
    summed = sum(
        share * a / w**2 * (1 - np.cos(w * times))
        for w, share in zip(modes.frequencies, modes.part_shares, strict=True)
    )
    assert summed == pytest.approx(solved.y[1], abs=1e-7 * np.abs(solved.y[1]).max() + 1e-12)
    rotor = sum(
        share * a / w**2 * (1 - np.cos(w * times))
        for w, share in zip(modes.frequencies, modes.rotor_shares, strict=True)
    )
    assert rotor == pytest.approx(solved.y[0], abs=1e-7 * np.abs(solved.y[0]).max() + 1e-12)


def test_as_many_springs_as_bodies_are_asked_for() -> None:
    with pytest.raises(ValueError, match="one fewer than inertias"):
        train_modes(KM, [J1, J2], [])
