"""Where artwork that a lens draws on a flat plane lands on a round part. Lengths in m, angles in rad.

Seen along the part's axis, the lens straight above the crown. All from line and circle; by arrays as broadcast.
"""

from __future__ import annotations

import math

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


def landing_arc(
    drawn: FloatOrArray, radius: FloatOrArray, *, focal_depth: FloatOrArray = 0.0, focal_length: float | None = None
) -> FloatArray:
    """How far around from the crown (m, >= 0) a ray lands that is drawn at `drawn` (m, >= 0, in the focal plane).

    The ray leaves a lens of `focal_length` f (m, > 0; None: telecentric, straight down) with the slope drawn/f
    outwards and crosses the focal plane, `focal_depth` (m, >= 0) below the crown, at `drawn`; where it first meets the
    circle of `radius` (m, > 0) is the quadratic's nearer root. Straight down it is r asin(drawn/r); a slant lands about
    depth * drawn/f further out, the depth being that of the surface below the focal plane. NaN where it misses the
    part. Source: line and circle.
    """
    require_positive("radius", radius, "m")
    require_not_negative("depth of the focal plane", focal_depth, "m")
    start = require_not_negative("drawn distance", drawn, "m")
    height = radius - focal_depth
    slope = start / require_positive("focal length", focal_length, "m") if focal_length is not None else 0.0 * start
    linear, square = height - start * slope, 1 + slope**2
    under_root = linear**2 - square * (start**2 + height**2 - radius**2)
    down = (linear - np.sqrt(np.where(under_root >= 0, under_root, np.nan))) / square
    return np.asarray(radius * np.arctan2(start + slope * down, height - down))


def edge_excess(
    width: FloatOrArray,
    radius: FloatOrArray,
    *,
    corrected: bool,
    focal_depth: FloatOrArray = 0.0,
    focal_length: float | None = None,
) -> FloatArray:
    """How much too far out (m, + outwards) each edge of a strip of artwork of `width` (m, >= 0) lands on the part.

    Artwork laid flat is drawn at width/2, which covers the arc r asin(width/2r): too wide by r asin(w/2r) - w/2 at each
    edge, so neighbours overlap by twice that. `corrected` artwork is drawn at r sin(w/2r), where the arc belongs; then
    only the slant of the ray is left. A strip that misses the part covers it down to the horizon, r pi/2. Source:
    circle geometry.
    """
    half = require_not_negative("width", width, "m") / 2
    drawn = radius * np.sin(np.minimum(half / radius, math.pi / 2)) if corrected else half
    landed = landing_arc(drawn, radius, focal_depth=focal_depth, focal_length=focal_length)
    return np.asarray(np.where(np.isnan(landed), radius * math.pi / 2, landed) - half)
