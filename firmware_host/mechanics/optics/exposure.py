"""How much light a focused Gaussian beam leaves on a surface that is out of focus, or stands aslant."""

from __future__ import annotations

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_positive


def spot_growth_at(defocus: FloatOrArray, rayleigh: float) -> FloatArray:
    """Spot over its smallest, g = sqrt(1 + (z/z_R)^2) (ISO 11146-1), `defocus` z (m, either way) from the focus.

    `rayleigh` z_R > 0 m; the inverse of `window_half_depth`.
    """
    require_positive("Rayleigh length", rayleigh, "m")
    return np.asarray(np.sqrt(1 + np.square(np.asarray(defocus, dtype=np.float64) / rayleigh)))


def relative_fluence(defocus: FloatOrArray, cosine: FloatOrArray, rayleigh: float) -> FloatArray:
    """Peak fluence over that in focus and upright: cos(incidence)/g^2, 0 where the surface looks away.

    A Gaussian beam's peak is 2 E/(pi w^2), w the second-moment radius (ISO 11146-1), and a slant spreads it by the
    cosine. `cosine` of the angle to the surface's normal, -1 to 1; broadcasts with `defocus` (m). `rayleigh` > 0 m.
    """
    return np.maximum(np.asarray(cosine, dtype=np.float64), 0.0) / np.square(spot_growth_at(defocus, rayleigh))
