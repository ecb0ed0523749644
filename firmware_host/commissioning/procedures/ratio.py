"""`ratio`: steps per revolution, from a line that should come back after whole turns."""

from __future__ import annotations

import math

from firmware_host.commissioning.estimates.fits import Line, line_through
from firmware_host.commissioning.estimates.measured import NORMAL_95, Measured, of_limits
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, from_below, in_lots, read
from firmware_host.commissioning.script import Say, Script
from firmware_host.commissioning.sensible import NO_WHEEL, Alternative, sensible_ratios

_SCATTERS = 3.0
"""Readings that lie off their line by more than so many times what can be read speak for something that slips."""


class Ratio(Procedure):
    """Turn whole turns from one side, and see how far a scribed line stands off after each lot of them.

    The line through the readings has the slope of the ratio's error; a place that was read badly at the beginning is
    its intercept, and does no harm.
    """

    key = "ratio"
    title = "steps per revolution"
    purpose = "Shows whether a turn that is asked for is a turn that is made: teeth, microsteps, full steps, slip."
    needs = ("a line scribed across the part and something that stands still", "a protractor, or a rule at the surface")
    turns, repeats, fewest = 5, 4, 2

    def moves(self, bench: Bench) -> str:
        return in_lots(bench)

    def script(self, bench: Bench) -> Script:
        shown = f"{100 * finest(bench):.2f} %"
        yield Say(f"This shows a ratio that is wrong by {shown} or more; with more turns less than that shows.")
        turns = [lot * bench.turns for lot in range(bench.repeats + 1)]
        readings = []
        for each in turns:
            yield from from_below(each, f"{each} turns from the beginning")
            question = f"After {each} turns: how far does the line stand beyond its place (- if it stopped short)?"
            readings.append((yield from read(f"after-{each}", question, "part-angle")) / (2 * math.pi))
        return (_found(bench, line_through(turns, readings)),)


def finest(bench: Bench) -> float:
    """The relative error of the ratio that this many turns show (95 %), by how closely the line is read."""
    whole = bench.turns * bench.repeats
    return NORMAL_95 * math.sqrt(2) * of_limits(bench.read_to) / (2 * math.pi * whole)


def _found(bench: Bench, line: Line) -> Finding:
    stated, read_to = float(bench.per_turn), bench.read_to / (2 * math.pi)
    amount = line.slope_read_to(read_to)
    fits = amount.lowest <= 0 <= amount.highest
    slips = line.scatter > _SCATTERS * max(of_limits(read_to), 1e-9)
    close = () if slips or fits else sensible_ratios(bench.machine, amount.value, amount.within)
    return Finding(
        key="ratio",
        name="steps for a turn of the part",
        measured=Measured(
            stated / (1 + amount.value), stated * amount.deviation / (1 + amount.value) ** 2, amount.freedom
        ),
        unit="microsteps",
        formula="stated steps/(1 + x), x the slope of how far the line stands off against the turns asked for, in "
        "turns (least squares; JCGM 100:2008, H.3)",
        verdict="as stated" if fits and not slips else "change",
        sentence=_sentence(amount, close, fits=fits, slips=slips),
        change=Change(close[0].key, close[0].value) if len(close) == 1 else None,
    )


def _sentence(amount: Measured, close: tuple[Alternative, ...], *, fits: bool, slips: bool) -> str:
    if slips:
        return "The line comes back to another place each time: something slips (belt, coupling, jaws or rollers)."
    if fits:
        return f"The steps per turn are right to {100 * amount.within:.2f} %."
    much = f"The part turns {100 * abs(amount.value):.2f} % too {'far' if amount.value > 0 else 'little'}"
    if not close:
        return f"{much}: {NO_WHEEL}"
    return f"{much}: {'; or '.join(each.words for each in close)}."
