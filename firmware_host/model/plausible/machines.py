"""What of a machine belongs together."""

from __future__ import annotations

import math

from firmware_host.model.machine.machine import Machine
from firmware_host.model.plausible.pair import INERTIA_SLIPS, Pair, size_of


def _chuck_gyration(machine: Machine) -> float | None:
    """Inertia of a chuck against its mass at a radius of 15 mm."""
    inertia, mass = size_of(machine.drive, "inertia"), size_of(machine.drive, "mass")
    return inertia / (mass * 0.015**2) if inertia and mass else None


def _roller_mass(machine: Machine) -> float | None:
    """Inertia of a roller against that of solid steel as long as three times its diameter."""
    inertia, across = size_of(machine.drive, "roller_inertia"), size_of(machine.drive, "roller_diameter")
    return inertia / (7850 * math.pi / 32 * across**4 * 3 * across) if inertia and across else None


def _rows_apart(machine: Machine) -> float | None:
    apart, across = size_of(machine.drive, "centre_distance"), size_of(machine.drive, "roller_diameter")
    return apart / (2 * across) if apart and across else None


def _largest_wheel(machine: Machine) -> float | None:
    """The largest wheel of any stage against one of 60 mm."""
    sizes = [
        size
        for stage in machine.gearing
        for size in (stage.driving_pitch_diameter, stage.driven_pitch_diameter)
        if size is not None
    ]
    return max(sizes) / 0.06 if sizes else None


MACHINE_PAIRS = (
    Pair(
        ("drive.inertia", "drive.mass"),
        "drive.inertia {0.drive.inertia} of a chuck of {0.drive.mass}",
        _chuck_gyration,
        1e-5,
        0.03,
        200,
        1e5,
        INERTIA_SLIPS,
    ),
    Pair(
        ("drive.roller_inertia", "drive.roller_diameter"),
        "drive.roller_inertia {0.drive.roller_inertia} of a roller of {0.drive.roller_diameter}",
        _roller_mass,
        1e-6,
        1e-3,
        40,
        1e4,
        ((10, 40, "The radius in the place of the diameter?"), *INERTIA_SLIPS),
    ),
    Pair(
        ("drive.centre_distance", "drive.roller_diameter"),
        "rows {0.drive.centre_distance} apart with rollers of {0.drive.roller_diameter}",
        _rows_apart,
        0.01,
        0.4,
        15,
        1e3,
        (
            (0.01, 0.4, "The distance from the middle, or the radius of something, in the place of the whole?"),
            (300, 1e9, "Metres for millimetres?"),
        ),
    ),
    Pair(
        ("gearing", "gearing.pitch"),
        "teeth times pitch makes the largest wheel",
        _largest_wheel,
        1e-3,
        0.04,
        10,
        200,
        ((10, 1e9, "Pitch and diameter confused, or centimetres for millimetres?"),),
    ),
)
