"""What to do about a job that isn't sure, in words: which datum decides, how to measure it, and what that gives."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from firmware_host.planning.reliability.chance import Chance
from firmware_host.planning.reliability.estimate import Influence, Reliability
from firmware_host.planning.reliability.improvement import MEASURED, Measured
from firmware_host.reporting.table_parts import percent

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


def advice_lines(sure: Reliability) -> list[str]:
    """Which datum decides; and where it doesn't hold, what to measure, what that gives, and what holds without it."""
    if not sure.influences or sure.influences[0].share <= 0:
        return []
    better, first = sure.better, sure.influences[0]
    lines = [f"  What matters most is {_doubt(first)}."]
    if better is None:
        return lines
    if len(sure.parts) > 1:
        weakest = min(sure.parts, key=lambda chance: chance.probability)
        lines.insert(0, f"  What decides is {weakest.name}.")
    lines += [f"  {_confirmed(step)}" for step in better.measured]
    for name in better.measured[-1].names if better.measured else ():
        where, how = WHERE_AND_HOW[name]
        lines.append(f"  To measure {name}: {how}. Write it in {where}, and tolerances.{name} = {MEASURED:g}.")
    if better.acceleration is not None:
        lines.append(
            "  Without measuring: index.acceleration of at most "
            f"{_rounded_down(math.degrees(better.acceleration)):g} deg/s^2 holds on the data as they are."
        )
    else:
        lines.append("  Without measuring no gentler index.acceleration holds, not even a fiftieth of the planned one.")
    return lines


def probability(chance: Chance) -> str:
    """A chance with its interval."""
    low, high = chance.interval
    return f"{chance.probability:.5g} ({low:.5f} to {high:.5f})"


def _doubt(influence: Influence) -> str:
    drawn = influence.input
    low, high = (f"{100 * (factor - 1):+.3g} %" for factor in (drawn.factors.lowest, drawn.factors.highest))
    share = percent(influence.share)
    return f"{drawn.name}, {share} of the margin's variance: taken from {low} to {high} ({drawn.source})"


def _confirmed(step: Measured) -> str:
    names = " and ".join(step.names)
    return (
        f"With {names} confirmed to within {100 * MEASURED:g} % by measuring: {step.chance.verdict.value}, "
        f"probability {probability(step.chance)}."
    )


def _rounded_down(value: float) -> float:
    """To two figures, not above."""
    step: float = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.floor(value / step) * step
