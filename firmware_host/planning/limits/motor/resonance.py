"""The limit of cruising: beside the bands of step rate that make rotor and load swing."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from firmware_host.mechanics.groups import smallest_of_few
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.vibration import resonant_step_rates
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, Standing
from firmware_host.planning.limits.limit import Limit, MotionBound
from firmware_host.planning.limits.remedy import SLOWER, higher
from firmware_host.planning.load.case import LoadCase


class Resonance(Limit):
    """Full-step rate of the cruise beside the bands that excite the natural frequency and its half and third.

    A band holds the half-power bands of every frequency that the natural one may be, at the middle of the damping.

    Advisory with microsteps finer than half steps, which excite much less (common practice, no source). Moves too short
    to cruise only pass through: their rate of cruising is none.
    """

    name = "resonance"
    ways = (SLOWER, higher("index.speed"))

    def check(self, case: LimitCase) -> LimitCheck:
        load, index = case.load, case.index
        band, zeta = load.natural_band, load.damping.middle
        lowest, highest = band.lowest / (2 * math.pi), band.highest / (2 * math.pi)
        formula = (
            f"full steps/s outside f_n/k*(1 -+ zeta), k = 1, 2, 3; f_n = {lowest:.4g} to {highest:.4g} Hz, "
            f"around sqrt(p*T_h/J)/(2*pi) or as measured; zeta = {zeta:.3g}"
        )
        source = "half-power band of the driven oscillator; damping ratio from memory, until measured"
        upper = [f"{w.lowest / (2 * math.pi):.4g} to {w.highest / (2 * math.pi):.4g} Hz" for w in load.torsion.upper]
        formula += f"; a belt or coupling that twists: {', '.join(upper)}, too" if upper else ""
        if not index.cruises:
            formula += " -> the longest index is too short to cruise"
        cruise = float(index.cruising)
        rate = float(load.step_rate(cruise)) / load.microsteps
        margin, edge = (float(part) for part in band_margin(load, cruise))
        remedy = f"Cruise well away from {edge:.4g} full steps/s"
        return LimitCheck(self.name, rate, edge, "Hz", margin, formula, source, remedy)

    def margins(self, case: LimitCase) -> FloatArray:
        return band_margin(case.load, case.index.cruising)[0]

    def standing(self, case: LimitCase) -> Standing:
        return replace(super().standing(case), advisory=case.load.microsteps > 2)

    def bound(self, load: LoadCase, reserve: float) -> MotionBound:
        del reserve
        return _BesideBands(load, *_bands(load))


def band_margin(load: LoadCase, speed: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """(margin, nearest edge in full steps/s) of cruising at part `speed` (rad/s) beside the resonant bands.

    The margin is the distance to the nearer edge of the nearest band as a part of that edge; negative inside a band.
    """
    return _margin(load, speed, *_bands(load))


def _bands(load: LoadCase) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest full steps/s of each band, along the last axis."""
    zeta = load.damping.middle
    bands = (load.natural_band, *load.torsion.upper)
    low = np.concatenate([resonant_step_rates(band.lowest, zeta)[..., 0] for band in bands], axis=-1)
    high = np.concatenate([resonant_step_rates(band.highest, zeta)[..., 1] for band in bands], axis=-1)
    return low, high


def _margin(
    load: LoadCase, speed: FloatArray | float, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray]:
    above, below = _apart(load, speed, low, high)
    margin = np.maximum(above, below)
    nearest = margin.argmin(axis=-1)[..., None]
    edge: FloatArray = np.where(above > below, high, low)
    return np.take_along_axis(margin, nearest, -1)[..., 0], np.take_along_axis(edge, nearest, -1)[..., 0]


def _apart(
    load: LoadCase, speed: FloatArray | float, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How far above and below each band, in parts of its edges, shape (..., bands)."""
    rate = load.step_rate(speed)[..., None] / load.microsteps
    return (rate - high) / high, (low - rate) / low


@dataclass(frozen=True, slots=True, eq=False)
class _BesideBands(MotionBound):
    load: LoadCase
    low: FloatArray
    high: FloatArray

    def cruise_margin(self, speeds: FloatArray) -> FloatArray:
        return smallest_of_few(np.maximum(*_apart(self.load, speeds, self.low, self.high)))
