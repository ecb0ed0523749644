"""Rotor and load on the magnetic spring with belts or couplings between them that twist: their natural frequencies.

All inertias (kg m^2) and stiffnesses (N m/rad) as seen from the motor's shaft: J/n^2 and k/n^2 of a shaft that the
motor turns n times faster than. Undamped and linear, so for lags well below a full step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.guard import FloatArray, require_positive


@dataclass(frozen=True, slots=True, eq=False)
class TrainModes:
    """Natural angular `frequencies` (rad/s, rising) and the shares of part and rotor in each, shape (n,).

    With the part's lag e behind the command, a commanded acceleration that jumps by a adds a part_shares/w^2 to the
    swing of each frequency w; `rotor_shares` likewise of the rotor. Either sum to 1.
    """

    frequencies: FloatArray
    part_shares: FloatArray
    rotor_shares: FloatArray

    @property
    def lowest(self) -> float:
        """The lowest natural angular frequency, rad/s."""
        return float(self.frequencies[0])


def train_modes(magnetic_stiffness: float, inertias: Sequence[float], stiffnesses: Sequence[float]) -> TrainModes:
    """Modes of `inertias` in a row from the rotor to the part, with `stiffnesses` between them, one fewer.

    Eigenvalues of M^-1 K, M = diag(J_1, ...) and K that of springs in a row, the first of them to the commanded
    position: for two, K = [[k_m + k, -k], [-k, k]] (linear vibration of lumped masses). `magnetic_stiffness` k_m =
    p T_h > 0. The part's share in a mode of shape v (M-normalised) is v_part * sum of J_i v_i.
    """
    springs = np.array([magnetic_stiffness, *stiffnesses], dtype=np.float64)
    masses = np.array(inertias, dtype=np.float64)
    require_positive("stiffness", springs, "N m/rad")
    require_positive("inertia", masses, "kg m^2")
    if masses.size != springs.size:
        raise FormulaRangeError("stiffnesses", springs.size - 1, "", masses.size - 1, "Give one fewer than inertias")
    if masses.size == 1:
        return TrainModes(np.sqrt(springs / masses), np.ones(1), np.ones(1))
    stiffness = np.diag(springs + np.append(springs[1:], 0.0))
    stiffness -= np.diag(springs[1:], 1) + np.diag(springs[1:], -1)
    root = np.sqrt(masses)
    squares, vectors = np.linalg.eigh(stiffness / np.outer(root, root))
    shapes = vectors / root[:, None]
    taken = masses @ shapes
    return TrainModes(np.sqrt(np.maximum(squares, 0.0)), shapes[-1] * taken, shapes[0] * taken)
