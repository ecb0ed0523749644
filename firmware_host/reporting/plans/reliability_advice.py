"""What to do about a job that isn't reliable enough, in words: which datum decides, and how to measure it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from firmware_host.planning.reliability.estimate import Reliability
from firmware_host.planning.reliability.improvement import MEASURED, Better

WHERE_AND_HOW: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "torque": (
            "motor.torque_curve",
            "load the motor at the index's speed with a known weight on a drum, more and more until it loses a step",
        ),
        "supply_voltage": ("driver.supply_voltage", "read it at the driver while the motor moves and while it stops"),
        "efficiency": (
            "gearing[...].efficiency",
            "lift a weight by the output with a weight on a thread around the input, and compare both works",
        ),
        "friction": (
            "drive.friction",
            "hold the driven rollers still and hang weight on a thread around the part until it slips on them; "
            "friction is that weight over m/(2*cos(beta)) for each driven row",
        ),
        "friction_torque": (
            "drive.friction_torque",
            "with the motor uncoupled and no part, hang weight on a thread around the shaft until it keeps turning",
        ),
        "rolling_resistance": (
            "drive.rolling_resistance",
            "with the motor uncoupled, hang weight on a thread around the part until it keeps turning slowly; its "
            "torque, less that of the bearings, is lever arm*(N_1 + N_2)*(1 + D/d)",
        ),
        "mass": ("part.mass", "weigh the part on a better scale"),
        "density": ("part.mass", "weigh the part instead"),
        "inertia": ("part.inertia", "swing the part on a pendulum and time it"),
        "diameter": ("part.diameter", "measure the part where it is touched and driven, in several places"),
        "mass_offset": (
            "part.mass_offset",
            "let the part turn freely, stick a small weight to its light side until it stays anywhere; "
            "offset = weight*its radius/mass",
        ),
    }
)
"""Where each uncertain datum is written, and a simple way to measure it (common practice, no source)."""


def decisive_lines(found: Reliability) -> tuple[str, ...]:
    """Which part of it decides where it does not hold, and which datum matters most."""
    if not found.influences or found.influences[0].share <= 0:
        return ()
    lines = (f"What matters most is {found.influences[0].input.name}.",)
    if found.better is None or len(found.parts) < 2:
        return lines
    weakest = min(found.parts, key=lambda chance: chance.probability)
    return (f"What decides is {weakest.name}.", *lines)


def measuring_lines(better: Better) -> tuple[str, ...]:
    """How to measure what is worth measuring, and where to write it."""
    names = better.measured[-1].names if better.measured else ()
    return tuple(
        f"To measure {name}: {how}. Write it in {where}, and tolerances.{name} = {MEASURED:g}."
        for name, (where, how) in ((name, WHERE_AND_HOW[name]) for name in names)
    )
