"""`ramp`: how quickly the axis may speed up and how fast it may turn before the motor loses steps."""

from __future__ import annotations

import math
from dataclasses import replace

from firmware_host.commissioning.estimates.bracket import Bracket, chance_at_most
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, degrees
from firmware_host.commissioning.procedures.motion.search import MOST_TRIALS, usual_trials
from firmware_host.commissioning.procedures.motion.swinging import swinging
from firmware_host.commissioning.procedures.motion.trials import (
    WAY,
    Tried,
    Trying,
    minutes,
    try_out,
    trying,
)
from firmware_host.commissioning.script import Script
from firmware_host.planning.limits.motor.measured_ramp import KEPT

_SCATTER = 0.012
"""How much sooner or later a move fails that begins otherwise within the friction: a part of it (integrated rotors)."""


class Ramp(Procedure):
    """Turn quickly one way, come back calmly, and see whether a line is where it was; quicker, until it is not."""

    key = "ramp"
    title = "how quick a ramp may be"
    purpose = "Shows from which acceleration and speed the motor loses steps; the plan then keeps well below that."
    needs = ("a line scribed across the part and something that stands still", "a protractor, or a rule at the surface")
    repeats, fewest = 10, 3
    writes_settings = True

    def moves(self, bench: Bench) -> str:
        here = trying(bench)
        quickest, usual = here.quickest, usual_trials(bench.repeats)
        return (
            f"CAUTION: the part turns {float(WAY * 360):.0f} deg to either side, quicker each time, up to "
            f"{degrees(quickest.acceleration)}/s^2 and {degrees(quickest.speed)}/s, and may stop short with a growl: "
            f"keep clear. About {usual} trials, {minutes(usual):.0f} minutes; {MOST_TRIALS} at the most."
        )

    def script(self, bench: Bench) -> Script:
        here = trying(bench)
        tried = yield from try_out(here, bench.repeats)
        bracket = tried.bracket
        if bracket.works == 0:
            return (_nothing_works(here, bracket),)
        if bracket.fails == math.inf:
            return (_all_work(bench, here, bracket),)
        return _found(bench, here, tried)


def _allowed(most: float) -> tuple[float, float]:
    """What limits allow, in degrees: the plan reckons that no step is lost up to there."""
    return _in_degrees(most), _in_degrees(most)


def _in_degrees(value: float) -> float:
    return math.degrees(value)


def _nothing_works(here: Trying, bracket: Bracket) -> Finding:
    lowest = here.pace(bracket.fails)
    return Finding(
        key="safe-acceleration",
        name="steps are lost even at an acceleration of the part of",
        measured=Measured(_in_degrees(lowest.acceleration), 0.0),
        unit="deg/s^2",
        formula="as tried",
        verdict="change",
        sentence=f"Steps are lost even at {degrees(lowest.acceleration)}/s^2 and {degrees(lowest.speed)}/s: look for a "
        "phase that is not connected, the driver's current, the supply, or something that binds.",
        planned=_allowed(here.quickest.acceleration),
    )


def _all_work(bench: Bench, here: Trying, bracket: Bracket) -> Finding:
    """None was lost at the quickest that limits allow: what is computed binds, and nothing needs to be written."""
    quickest = here.pace(1.0)
    finding = Finding(
        key="safe-acceleration",
        name="no step is lost up to an acceleration of the part of",
        measured=Measured(_in_degrees(quickest.acceleration), 0.0),
        unit="deg/s^2",
        formula="as tried, up to what limits allows with its reserve",
        verdict="as stated",
        sentence=f"It loses none up to what limits allow, {_told(here, 1.0)}: {_chance(bracket)} These limits stay.",
        planned=_allowed(here.quickest.acceleration),
    )
    if bench.machine.ramp.acceleration is None:
        return finding
    return _writing(replace(finding, verdict="change"), bench, here, 1.0)


def _found(bench: Bench, here: Trying, tried: Tried) -> tuple[Finding, ...]:
    bracket = tried.bracket
    limit, stored = bracket.limit(_SCATTER), KEPT * bracket.works
    acceleration, speed = (
        limit.scaled(_in_degrees(each)) for each in (here.quickest.acceleration, here.quickest.speed)
    )
    sentence = (
        f"It loses steps at {_told(here, bracket.fails)}, where limits would allow {_told(here, 1.0)}: the motor makes "
        f"less torque than its data say, or more turns. At {_told(here, bracket.works)} {_chance(bracket)} "
        f"{KEPT:g} of that is {degrees(stored * here.quickest.acceleration)}/s^2 and "
        f"{degrees(stored * here.quickest.speed)}/s. Its count is off by what was lost: set the zero anew."
    )
    finding = Finding(
        key="safe-acceleration",
        name="steps are lost from an acceleration of the part of",
        measured=acceleration,
        unit="deg/s^2",
        formula="between the highest that lost none and the lowest that did, any place alike (JCGM 100:2008, 4.3.7)",
        verdict="as stated" if _as_stated(bench, here, limit) else "change",
        sentence=sentence,
        planned=_allowed(here.quickest.acceleration),
    )
    at_speed = replace(
        finding, key="safe-speed", name="with a speed of the part of", measured=speed, unit="deg/s", verdict="told",
        sentence="Both were raised together.", planned=_allowed(here.quickest.speed),
    )  # fmt: skip
    if tried.odd:
        slips = "Not all of it comes in fours of full steps: something slips besides (jaws, rollers, coupling). "
        return replace(finding, sentence=f"{slips}{sentence}"), at_speed
    if finding.verdict == "as stated":
        return finding, at_speed
    return _writing(finding, bench, here, stored), at_speed


def _told(here: Trying, share: float) -> str:
    pace = here.pace(share)
    return f"{degrees(pace.acceleration)}/s^2 and {degrees(pace.speed)}/s"


def _chance(bracket: Bracket) -> str:
    """What so many trials without a loss prove."""
    return (
        f"none of {bracket.passes} was lost, which proves that fewer than {100 * chance_at_most(bracket.passes):.0f} % "
        "are (95 %, the rule of three)."
    )


def _onwards(bench: Bench) -> float:
    """Turns of the drive's shaft for a turn of the part."""
    return float(bench.per_turn / bench.machine.microsteps_per_shaft_turn)


def _as_stated(bench: Bench, here: Trying, limit: Measured) -> bool:
    """Whether the file has it so already: what it holds is 0.8 of something within the interval."""
    stated = bench.machine.ramp.acceleration
    if stated is None:
        return False
    share = stated.si / _onwards(bench) / here.quickest.acceleration / KEPT
    return limit.lowest <= share <= limit.highest


def _writing(finding: Finding, bench: Bench, here: Trying, share: float) -> Finding:
    """The finding with what to write for `share` of the quickest: of the drive's shaft, with what turned along."""
    onwards = math.degrees(_onwards(bench))
    acceleration, speed = (share * each * onwards for each in (here.quickest.acceleration, here.quickest.speed))
    return replace(
        finding,
        change=Change("ramp.acceleration", f"{acceleration:.5g} deg/s^2"),
        also=(
            Change("ramp.speed", f"{speed:.5g} deg/s"),
            Change("ramp.load_inertia", f"{swinging(bench).along:.6g} kg*m^2"),
        ),
    )
