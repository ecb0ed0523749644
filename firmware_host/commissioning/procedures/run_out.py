"""`run-out`: readings around the part, and the first harmonic in them."""

from __future__ import annotations

import math
from fractions import Fraction

from firmware_host.commissioning.estimates.fits import Harmonic, first_harmonic
from firmware_host.commissioning.estimates.measured import Measured, of_limits
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, from_below, read
from firmware_host.commissioning.script import Say, Script


class RunOut(Procedure):
    """Read an indicator at places evenly around the part: how far its middle stands off the axis, and which way."""

    key = "run-out"
    title = "run-out"
    purpose = "Shows how much of the marking window the part itself takes as it turns."
    needs = ("an indicator above the part, where it is marked",)
    repeats, fewest = 8, 4

    def moves(self, bench: Bench) -> str:
        return f"The part turns once round, in {bench.repeats} steps of {360 / bench.repeats:.4g} deg."

    def script(self, bench: Bench) -> Script:
        yield Say("Set the indicator on the highest line of the part; it reads more where the surface comes higher.")
        angles, readings = [], []
        for number in range(bench.repeats):
            turns = Fraction(number, bench.repeats)
            yield from from_below(turns, f"{float(turns * 360):.4g} deg")
            question = f"At {float(turns * 360):.4g} deg: what does the indicator read?"
            readings.append((yield from read(f"at-{number}", question, "length")))
            angles.append(2 * math.pi * float(turns))
        found = first_harmonic(angles, readings, bench.within_length)
        return _findings(bench, found)


def _findings(bench: Bench, found: Harmonic) -> tuple[Finding, ...]:
    where = math.degrees(found.phase.value) % 360
    return (
        Finding(
            key="run-out",
            name="the part's middle stands off the axis by",
            measured=found.amplitude.scaled(1e3),
            unit="mm",
            formula="readings = offset + e cos(angle - phase), least squares",
            verdict="told",
            sentence=f"It is highest at {where:.0f} deg. {_left(bench, found)}".strip(),
        ),
        Finding(
            key="out-of-round",
            name="the part is out of round by, at most",
            measured=Measured(found.out_of_round * 1e3, of_limits(bench.within_length) * 1e3),
            unit="mm",
            formula="largest distance of a reading from the first harmonic",
            verdict="told",
            sentence="What is left once the run-out is taken off; clamping anew does not better it.",
        ),
    )


def _left(bench: Bench, found: Harmonic) -> str:
    """What is left of the marking window, where a job says how deep it is."""
    if bench.setup is None or bench.setup.job.window.half_depth is None:
        return "It takes as much from the marking window, above and below."
    depth = bench.setup.job.window.half_depth.si
    takes = found.amplitude.highest + found.out_of_round
    left = depth - takes
    rest = f"{left * 1e3:.3g} mm are left for the sag" if left > 0 else "nothing is left of the window"
    return f"It takes {takes * 1e3:.3g} mm of {depth * 1e3:.3g} mm half-depth: {rest}."
