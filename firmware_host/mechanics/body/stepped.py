"""A shaft of several coaxial cylinders, each solid or bored. Lengths in m, volumes in m^3."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from firmware_host.mechanics.body.inertia import tube_inertia, tube_volume
from firmware_host.mechanics.guard import require_positive


class Step(NamedTuple):
    """One cylinder: outer `radius` and `length` > 0 m, 0 <= `bore_radius` < `radius` in m."""

    radius: float
    length: float
    bore_radius: float = 0.0


def stepped_volume(steps: Sequence[Step]) -> float:
    """Volume (m^3) of a stepped shaft: the sum of its cylinders'. At least one step."""
    require_positive("number of steps", float(len(steps)))
    return sum(tube_volume(step.radius, step.bore_radius, step.length) for step in steps)


def stepped_per_mass(steps: Sequence[Step]) -> float:
    """Inertia per kg (m^2) of a stepped shaft of one material about its axis: sum of V (ro^2 + ri^2)/2 over V."""
    total = stepped_volume(steps)
    volumes = (tube_volume(step.radius, step.bore_radius, step.length) for step in steps)
    return (
        sum(tube_inertia(volume, step.radius, step.bore_radius) for volume, step in zip(volumes, steps, strict=True))
        / total
    )
