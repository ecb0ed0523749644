"""A part on rollers whose axis is tilted: what pulls it along them, and what that takes of the grip. Angles in rad."""

from __future__ import annotations

import math

from firmware_host.mechanics.guard import require_at_most, require_not_negative, require_positive

SIDE_SOFTNESS = 2.0
"""How much more a contact gives way sideways than in the rolling direction: 1/(1 - nu), nu = 0.5 for rubber.

Antiplane against plane strain of the same line contact (form from memory; steel on steel would be 1.4).
"""


def friction_along(half_angle: float, tilt: float) -> float:
    """Friction coefficient tan(tilt) cos(beta) that keeps a part from sliding down its rollers at a standstill.

    m g sin(tilt) against mu times both normals, m g cos(tilt)/cos(beta) together. 0 < `half_angle` beta < pi/2;
    0 <= `tilt` < pi/2. Statics.
    """
    require_positive("contact half-angle", half_angle, "rad")
    require_at_most("contact half-angle", half_angle, math.nextafter(math.pi / 2, 0), "rad")
    require_not_negative("tilt of the axis", tilt, "rad")
    require_at_most("tilt of the axis", tilt, math.nextafter(math.pi / 2, 0), "rad")
    return math.tan(tilt) * math.cos(half_angle)


def friction_left(friction: float, along: float) -> float:
    """What is left for traction of a `friction` coefficient (> 0) of which `along` (>= 0) keeps the part from sliding.

    sqrt(mu^2 - along^2): both act in one contact, square to each other (Coulomb). 0 where the part slides.
    """
    require_positive("friction coefficient", friction)
    require_not_negative("friction along the axis", along)
    return math.sqrt(max(friction**2 - along**2, 0.0))


def side_creep_per_turn(contact_diameter: float, creep: float) -> float:
    """How far (m, >= 0) a part that rolls creeps down a tilted axis in one turn: pi D times twice `creep` (>= 0).

    `creep`: part of the travel that the same share of the grip would cost in the rolling direction (`creep_ratio`); see
    `SIDE_SOFTNESS`. An estimate. A rolling contact gives way to any side force, and nothing brings the part back.
    """
    require_positive("contact diameter", contact_diameter, "m")
    require_not_negative("creep", creep)
    return math.pi * contact_diameter * SIDE_SOFTNESS * creep
