"""`grip`: what a part on rollers loses to creep in a turn, by a line on it and one on the driven roller."""

from __future__ import annotations

import math

from firmware_host.commissioning.estimates.fits import line_through
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, from_below, in_lots, read
from firmware_host.commissioning.script import Script
from firmware_host.errors import InputError


class Grip(Procedure):
    """Turn the part whole turns, and read how far a line on it and one on the driven roller stand off."""

    key = "grip"
    title = "creep on the rollers"
    purpose = "Shows how far the part falls behind its rollers: every seam overlaps by its share of that."
    needs = ("a line on the part and one on the driven roller", "a rule at the part's surface, a protractor")
    turns, repeats, fewest = 2, 4, 2

    def moves(self, bench: Bench) -> str:
        return in_lots(bench)

    def script(self, bench: Bench) -> Script:
        if not bench.machine.drive.rolls_on_part:
            raise InputError("the machine has no rollers", "In a chuck, measure the ratio instead", key="procedure")
        turns = [lot * bench.turns for lot in range(bench.repeats + 1)]
        lags = []
        per_turn = float(bench.per_turn / bench.machine.microsteps_per_shaft_turn)
        for each in turns:
            yield from from_below(each, f"{each} turns from the beginning")
            question = f"After {each} turns: how far beyond its place is the line on the part (- if it stopped short)?"
            part = yield from read(f"part-{each}", question, "part-angle")
            roller = yield from read(f"roller-{each}", "And the line on the driven roller, beyond its own?", "angle")
            lags.append((roller / per_turn - part) / (2 * math.pi))
        return (_found(bench, turns, lags),)


def _found(bench: Bench, turns: list[int], lags: list[float]) -> Finding:
    slip = line_through(turns, lags).slope_read_to(bench.read_to / (2 * math.pi))
    cradle = bench.machine.drive.cradle
    stated = cradle.slip if cradle is not None else 0.0
    fits = slip.lowest <= stated <= slip.highest
    return Finding(
        key="slip",
        name="the part falls behind by",
        measured=slip.scaled(100),
        unit="%",
        formula="slope of (way of the roller - way of the part) against the way asked for (JCGM 100:2008, H.3)",
        verdict="as stated" if fits else "change",
        sentence=f"The machine file has {stated:.2%}.",
        change=Change("drive.slip", float(f"{slip.value:.3g}")) if not fits and 0 < slip.value < 0.2 else None,
    )
