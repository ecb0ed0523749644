"""`home`: how well the home switch is found again, by an indicator or a line at the part."""

from __future__ import annotations

import math

from firmware_host.commissioning.estimates.measured import NORMAL_95, Measured
from firmware_host.commissioning.estimates.spread import spread_of
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import APPROACH, Bench, Procedure, degrees, read
from firmware_host.commissioning.script import Say, Script, SeekHome, TurnTo
from firmware_host.errors import InputError

_TWO = math.sqrt(2)
"""A mark begun after one approach stands off one begun after another by so many times the spread of each."""


class Home(Procedure):
    """Seek the switch several times from the same side and distance, and read where the part then stands."""

    key = "home"
    title = "repeatability of the home switch"
    purpose = "Shows how far two marks stand apart that are each begun after the home switch was sought."
    needs = ("a home switch", "an indicator against the part or an arm clamped to it, or a fine line and a magnifier")
    repeats, fewest = 10, 5
    seeks_home = True

    def moves(self, bench: Bench) -> str:
        away = degrees(2 * math.pi * float(APPROACH))
        return (
            f"The controller seeks its home switch {bench.repeats + 1} times, at its own homing speed and as far as it "
            f"has to; in between the part turns {away} on."
        )

    def script(self, bench: Bench) -> Script:
        if not bench.machine.axis.home_switch:
            remedy = "Its zero is where the part stands. If it has a switch, say so: axis.home_switch"
            raise InputError("the machine has no home switch to be measured", remedy, key="procedure")
        yield Say(
            "The controller counts from the switch anew each time, so it can't tell how well it found it: you read "
            "that at the part. Keep clear of it, it moves by itself."
        )
        yield SeekHome("once, from wherever the part stands")
        found = []
        for number in range(1, bench.repeats + 1):
            yield TurnTo(APPROACH, "away from the switch, as far as each time")
            yield SeekHome(f"{number} of {bench.repeats}")
            found.append((yield from read(f"at-{number}", f"{number}: what is read at the switch?", "part-angle")))
        return (_found(bench, spread_of(found, bench.read_to)),)


def _found(bench: Bench, spread: Measured) -> Finding:
    return Finding(
        key="home-spread",
        name="the switch is found again to (standard deviation)",
        measured=spread.scaled(180 / math.pi),
        unit="deg",
        formula="sqrt(s^2 - a^2/3), s the spread of the readings, a how closely they are read; interval by chi-square",
        verdict="told",
        sentence=_sentence(bench, spread),
    )


def _sentence(bench: Bench, spread: Measured) -> str:
    if bench.diameter is None:
        return "What that is at the surface follows from the part's diameter: name a job, or say --diameter."
    radius = bench.diameter / 2
    apart = NORMAL_95 * _TWO * spread.value * radius
    told = (
        f"At the surface of {bench.diameter * 1e3:.4g} mm two marks begun after homing stand apart by up to "
        f"{apart * 1e3:.2g} mm (95 %)"
    )
    shows = _shows_from(bench)
    if shows is None:
        return f"{told}. A seam shows from half the spot's diameter: say window.spot_diameter to have them compared."
    low, high = (NORMAL_95 * _TWO * end * radius for end in (spread.lowest, spread.highest))
    seen = f"a seam shows from {shows * 1e3:.2g} mm"
    if high <= shows:
        return f"{told}; {seen}: the switch suits, also for marks that join earlier ones."
    if low > shows:
        return f"{told}; {seen}: for marks that join earlier ones set the zero by hand, the switch does not suit."
    return f"{told}; {seen}: whether it suits for marks that join earlier ones can't be told yet. Take more approaches."


def _shows_from(bench: Bench) -> float | None:
    """From which gap a seam of the job shows (m)."""
    if bench.setup is None or bench.plan is None:
        return None
    return bench.plan.plan.seams.tolerance
