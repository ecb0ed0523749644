"""`warm-up`: how warm the motor gets by the job's cycle, from its case's temperature at several times."""

from __future__ import annotations

import math
from collections.abc import Generator
from typing import NamedTuple

from firmware_host.commissioning.estimates.measured import Measured, combined, of_limits
from firmware_host.commissioning.estimates.warming import BENT, WarmingCurve, warming_curve
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, number, read
from firmware_host.commissioning.procedures.motor.cycle import CURRENT_WITHIN, RESISTANCE_WITHIN, Cycle, cycle_of, known
from firmware_host.commissioning.script import Act, Answer, ReadClock, Say, Script, Step, TurnToAndFro, Wait
from firmware_host.errors import InputError
from firmware_host.mechanics.motor.heat import COPPER_TEMPERATURE_COEFFICIENT, REFERENCE_CELSIUS, winding_rise
from firmware_host.model import Machine

EVERY_S = 600.0
"""So long it works between two readings (s)."""
INSIDE, INSIDE_WITHIN = 0.225, 0.125
"""The winding is warmer than the case by this part of the case's rise, plus-minus: 0.1 to 0.35, from memory."""
LAGS = 0.1
"""The case begins to warm a minute or two after its copper: so far off the curve, over its rise, the cold reading lies
at the most (2 of 20 min, from memory)."""
_BURNS = 60.0
_FEWEST = 3


class Readings(NamedTuple):
    """`air` before it began (degC); `times` (s) and `cases` (degC), the first of them cold; `within` K, each."""

    air: float
    times: list[float]
    cases: list[float]
    within: float
    stopped: bool


class WarmUp(Procedure):
    """Let the motor work as the job has it, and read its case from time to time."""

    key = "warm-up"
    title = "how warm the motor gets"
    purpose = "Shows where the motor's temperature ends, and how soon, before hours of work show it."
    needs = (
        "a thermometer for the motor's case and for the air",
        "a motor that has not run for two hours, mounted and covered as it will work",
    )
    repeats, fewest = 6, 3
    resumed = "never"

    def moves(self, bench: Bench) -> str:
        cycle, minutes = cycle_of(bench), bench.repeats * EVERY_S / 60
        how = "The motor stands energised" if not cycle.by else (
            f"The part turns {float(cycle.by * 360):.3g} deg to and fro, {cycle.pause:.3g} s after each move,"
        )  # fmt: skip
        return (
            f"{how} for {minutes:.0f} minutes. Stay with it: the case may burn a hand (above {_BURNS:.0f} degC). "
            "Broken off it begins anew, with a cold motor."
        )

    def script(self, bench: Bench) -> Script:
        cycle, limit = cycle_of(bench), _highest(bench.machine)
        readings = yield from _readings(bench, cycle, limit)
        if len(readings.times) < _FEWEST:
            remedy = "Lower driver.current or driver.standstill_current, or cool the motor, and measure again, cold"
            raise InputError(f"too hot {readings.times[-1] / 60:.0f} min after it began", remedy, key="warm-up")
        _require_rise(readings)
        return _findings(bench, cycle, readings)


def _require_rise(readings: Readings) -> None:
    """Raise `InputError` where the case got no warmer than two readings of one temperature may differ."""
    rise = max(readings.cases) - readings.cases[0]
    if rise <= 2 * readings.within:
        problem = f"the case got warmer by {rise:.2g} K, and the thermometer may be off by {readings.within:.2g} K"
        remedy = "See that the motor is energised and the thermometer touches its case; measure longer, by --repeats"
        raise InputError(problem, remedy, key="warm-up")


def _highest(machine: Machine) -> float:
    """What the winding bears (degC): as stated, else the low end of the thermal classes."""
    stated = known(machine).motor.highest_temperature
    return stated.si if stated is not None else math.nan


def _readings(bench: Bench, cycle: Cycle, limit: float) -> Generator[Step, Answer | None, Readings]:
    yield Say(f"The motor's winding bears {limit:.0f} degC by its file. Read the case at one spot, marked, each time.")
    within = yield from read("within", "How many degC may the thermometer be off (a number)?", "number")
    air = yield from read("air", "The air around the motor?", "temperature")
    times, cases = [], []
    for count in range(bench.repeats + 1):
        if count:
            yield _work(cycle, count)
        question = "The case, before it works?" if not count else f"The case, after {count * EVERY_S / 60:.0f} min?"
        cases.append((yield from read(f"case-{count}", question, "temperature")))
        times.append(number((yield ReadClock(f"at-{count}"))))
        if _inside(cases[-1], air) >= limit:
            yield Say(f"Too hot inside for its class ({limit:.0f} degC): switch the driver's supply off, let it cool.")
            return Readings(air, times, cases, within, stopped=True)
    return Readings(air, times, cases, within, stopped=False)


def _work(cycle: Cycle, count: int) -> Act:
    words = f"{EVERY_S / 60:.0f} minutes, to reading {count}"
    return TurnToAndFro(EVERY_S, cycle.by, cycle.pause, words) if cycle.by else Wait(EVERY_S, words)


def _inside(case: float, air: float) -> float:
    """The warmest that the winding may be (degC)."""
    return case + (INSIDE + INSIDE_WITHIN) * max(case - air, 0.0)


def _findings(bench: Bench, cycle: Cycle, readings: Readings) -> tuple[Finding, ...]:
    within, warmer = max(readings.within, 1e-3), max(readings.cases) - readings.cases[0]
    curve = warming_curve(readings.times, readings.cases, within, math.hypot(within, LAGS * warmer))
    rise = _rise_inside(curve, readings)
    resistance = _resistance(rise, readings.air, cycle)
    bent = curve.lasted >= BENT and resistance.value > 0
    return (
        _time_constant(curve, bent=bent),
        _thermal_resistance(bench.machine, resistance, curve, bent=bent),
        _end(bench.machine, cycle, rise, resistance, readings),
    )


def _rise_inside(curve: WarmingCurve, readings: Readings) -> Measured:
    """The winding's rise over the air, once it gets no warmer (K): the case's, and so much more as it is inside."""
    air = Measured(readings.air, of_limits(readings.within))
    case = combined(curve.end.value - air.value, [(1.0, curve.end), (-1.0, air)])
    more = Measured(1 + INSIDE, of_limits(INSIDE_WITHIN))
    return combined(case.value * more.value, [(more.value, case), (case.value, more)])


def _resistance(rise: Measured, air: float, cycle: Cycle) -> Measured:
    """R = rise/(P (1 + alpha (T - 20))), T = air + rise: what `winding_rise` makes of it is the rise measured."""
    warm = 1 + COPPER_TEMPERATURE_COEFFICIENT * (air + rise.value - REFERENCE_CELSIUS)
    value = rise.value / (cycle.loss * warm)
    slope = value / rise.value - value * COPPER_TEMPERATURE_COEFFICIENT / warm if rise.value else 1 / cycle.loss
    share = math.hypot(of_limits(RESISTANCE_WITHIN), 2 * of_limits(CURRENT_WITHIN))
    return combined(value, [(slope, rise), (value, Measured(1.0, share))])


def _time_constant(curve: WarmingCurve, *, bent: bool) -> Finding:
    tau = curve.time_constant
    text = f"{tau.value / 60:.3g} min"
    told = f"Within {3 * tau.value / 60:.0f} minutes it is within 5 % of where it ends."
    return Finding(
        key="time-constant",
        name="time constant of the motor's case",
        measured=tau.scaled(1 / 60),
        unit="min",
        formula="least squares of T = T_end - D exp(-t/tau), the cold reading counts less (JCGM 100:2008, 5.1.2, H.3)",
        verdict="change" if bent else "told",
        sentence=told if bent else _STRAIGHT,
        change=Change("warming.time_constant", text) if bent else None,
    )


_STRAIGHT = "It still rises as at the beginning: measure again with more repeats, so that the curve bends."


def _thermal_resistance(machine: Machine, found: Measured, curve: WarmingCurve, *, bent: bool) -> Finding:
    stated = machine.winding_to_air
    fits = stated is not None and found.lowest <= stated.si <= found.highest
    before = f"The file has {stated}." if stated is not None else "No file says it: it was assumed."
    return Finding(
        key="thermal-resistance",
        name="thermal resistance, winding to air, as mounted",
        measured=found,
        unit="K/W",
        formula=f"(T_end - T_air)(1 + {INSIDE:g})/(P (1 + 3.93e-3 (T - 20))), P that at 20 degC",
        verdict="as stated" if fits else "change" if bent else "told",
        planned=None if stated is None else (stated.si, stated.si),
        sentence=f"{before} Most of the doubt is the motor's resistance, its current, and how much warmer it is inside."
        if bent
        else _STRAIGHT,
        change=Change("warming.thermal_resistance", f"{found.value:.3g} K/W") if bent and not fits else None,
    )


def _end(machine: Machine, cycle: Cycle, rise: Measured, resistance: Measured, readings: Readings) -> Finding:
    """Where the winding ends in the hottest air, by the job's own cycle; the loss cancels, for it was the same one."""
    motor = known(machine).motor
    hottest = motor.ambient.si if motor.ambient is not None else readings.air
    limit = _highest(machine)
    ends = float(winding_rise(cycle.own_loss, max(resistance.value, 1e-9), hottest))
    share = rise.deviation / rise.value if rise.value > 0 else 1.0
    end = Measured(hottest + min(ends, 1e4), min(ends, 1e4) * share, rise.freedom)
    thermal = machine.winding_to_air
    planned = None if thermal is None else hottest + float(winding_rise(cycle.own_loss, thermal.si, hottest))
    fits = end.highest <= limit
    judged = "holds" if fits else "is too hot" if end.lowest > limit else "may be too hot"
    stopped = " It was stopped before its end." if readings.stopped else ""
    return Finding(
        key="end-temperature",
        name="the winding ends at, in the hottest air",
        measured=end,
        unit="degC",
        formula="T_air + R_th P (1 + 3.93e-3 (T - 20)), solved; P of the job's own cycle",
        verdict="told",
        sentence=f"It {judged}: it bears {limit:.0f} degC, the hottest air is {hottest:.0f} degC.{stopped}",
        planned=None if planned is None else (planned, planned),
    )
