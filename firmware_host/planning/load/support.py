"""What tailstock and steady rest add to the motor's load: the friction of what the part turns in. N m at the part."""

from __future__ import annotations

from firmware_host.errors import InputError
from firmware_host.model.base import stated
from firmware_host.model.machine.machine import Machine
from firmware_host.model.part.part import RoundPart


def support_friction(machine: Machine, part: RoundPart) -> float:
    """Friction torque (N m, >= 0) with nothing left open. `InputError` for a rest beyond the part's end."""
    support, rest = machine.support, machine.support.steady_rest
    friction = stated(support.friction_torque, "support.friction_torque").si if support.tailstock else 0.0
    if rest is None:
        return friction
    if rest.position.exact > part.whole_length.exact:
        raise InputError(
            f"the steady rest stands at {rest.position}, beyond the part's end ({part.whole_length})",
            "Give the distance from the chuck's face at which it carries this part, or leave it out",
            key="support.steady_rest.position",
        )
    return friction + stated(rest.friction_torque, "support.steady_rest.friction_torque").si
