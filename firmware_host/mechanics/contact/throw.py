"""What an eccentric part pulls on its rollers with while it turns: its centrifugal force, at every angle."""

from __future__ import annotations

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative

_COUNT = 16
_ANGLES = (np.arange(_COUNT) + 0.5) * (2 * np.pi / _COUNT)

CORNERS: FloatArray = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)]) / np.cos(np.pi / _COUNT)
"""Corners of the regular polygon of 16 sides around the unit circle, shape (2, 16): across, and upward.

The centre of mass turns on a circle. What is linear in its place, or is kept on one side of a straight line, is worst
at a corner of a polygon around the circle: at most 2 % too much, and nothing along the axes, where its sides touch.
"""


def centrifugal_force(unbalance: FloatOrArray, speed: FloatOrArray) -> FloatArray:
    """Centrifugal force m e omega^2 (N, >= 0), outward: `unbalance` m e >= 0 kg m, `speed` omega in rad/s.

    Newton's law on a circle; about the axis it makes no torque.
    """
    return require_not_negative("unbalance", unbalance, "kg m") * np.square(np.asarray(speed, dtype=np.float64))
