"""How deep a focused beam stays small enough to mark. Lengths in m."""

from __future__ import annotations

import math

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.guard import require_positive


def rayleigh_length(waist_radius: float, wavelength: float, beam_quality: float = 1.0) -> float:
    """z_R = pi w0^2/(M^2 lambda) (m), the distance at which the beam's area has doubled (ISO 11145, ISO 11146-1).

    `waist_radius` > 0 m (second-moment radius at the focus), `wavelength` > 0 m, `beam_quality` M^2 >= 1.
    """
    require_positive("waist radius", waist_radius, "m")
    require_positive("wavelength", wavelength, "m")
    if not beam_quality >= 1:
        raise FormulaRangeError("beam quality M^2", beam_quality, "", 1.0, "No beam is better than M^2 = 1")
    return math.pi * waist_radius**2 / (beam_quality * wavelength)


def window_half_depth(rayleigh: float, spot_growth: float) -> float:
    """Distance z = z_R sqrt(g^2 - 1) (m) off focus at which the spot has grown to `spot_growth` times its smallest.

    From w(z) = w0 sqrt(1 + (z/z_R)^2) (ISO 11146-1). `rayleigh` > 0 m; `spot_growth` g > 1.
    """
    require_positive("Rayleigh length", rayleigh, "m")
    if not 1 < spot_growth < math.inf:
        raise FormulaRangeError("spot growth", spot_growth, "", 1.0, "It must be greater than 1 and finite")
    return rayleigh * math.sqrt(spot_growth**2 - 1)
