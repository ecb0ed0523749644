"""The test pattern: two solid bands along the edges and slanted lines between them, so that every fault shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray, require_positive

BAND = 0.14
"""Height of each solid band, over the width of the mark along the axis."""
_LINES = 6
_SHARE = 0.3


def inked(around: FloatArray, along: FloatArray, width: float) -> NDArray[np.bool_]:
    """Where the pattern has ink: at `around` (m along the surface from where the mark begins) and `along` the axis.

    `along` from -width/2 to width/2 (m), outside of which there is none; `width` > 0 m. They broadcast.
    """
    require_positive("width of the mark", width, "m")
    up = np.abs(along) / width
    pitch = width / _LINES
    lines = np.mod(around + along, pitch) < _SHARE * pitch
    return np.asarray(((up <= 0.5) & (up >= 0.5 - BAND)) | ((up < 0.5 - 1.5 * BAND) & lines))
