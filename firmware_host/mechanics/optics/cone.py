"""Marks on a cone: the pitch and the height of the surface change along the mark. Lengths in m."""

from __future__ import annotations

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


def edge_gap(arc: FloatOrArray, taper: FloatOrArray, distance: FloatOrArray, diameter: FloatOrArray) -> FloatArray:
    """Gap (m, >= 0) at a seam on the thick edge of a mark; on the thin edge the overlap is as large: a taper 2z/D.

    Turned by one angle the surface travels in proportion to its diameter. `arc` a (m, >= 0): pitch of the artwork,
    right at the mark's middle, of `diameter` D (m, > 0); `distance` z (m, >= 0) from there to the mark's edge; `taper`
    (>= 0): change of the radius per length, the tangent of the cone's half-angle. The same at the closing seam of a
    full wrap. Source: circle geometry.
    """
    require_not_negative("taper", taper)
    require_not_negative("distance from the middle of the mark", distance, "m")
    require_positive("diameter", diameter, "m")
    return np.asarray(require_not_negative("arc", arc, "m") * taper * 2 * distance / diameter)


def band_rise(slope: float, distance: float) -> float:
    """How far (m, >= 0) the surface lies higher on one edge of a mark, and lower on the other, than at its middle.

    `slope` (>= 0) of the line along the top: a cone's taper where its axis is level; `distance` as in `edge_gap`.
    Source: geometry.
    """
    require_not_negative("slope", slope)
    require_not_negative("distance from the middle of the mark", distance, "m")
    return slope * distance
