"""`lost-motion`: what the part lags when the axis turns back, by coming to one place from both sides."""

from __future__ import annotations

import math
from fractions import Fraction

from firmware_host.commissioning.estimates.measured import Measured, mean_of, of_limits
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import APPROACH, Bench, Procedure, degrees, from_below, read
from firmware_host.commissioning.script import Script, TurnTo
from firmware_host.planning.layout.lost_motion import lost_motion_of


class LostMotion(Procedure):
    """Come to a place from below and from above, several times: the part stands apart by its lost motion."""

    key = "lost-motion"
    title = "lost motion (backlash)"
    purpose = "Shows what a turn back does not do at first: the first seam overlaps by it where nothing takes it up."
    needs = ("an indicator against the part or an arm clamped to it, or a fine line and a magnifier",)
    repeats, fewest = 5, 2

    def moves(self, bench: Bench) -> str:
        return f"The part turns {degrees(2 * math.pi * float(APPROACH))} to each side and back, {bench.repeats} times."

    def script(self, bench: Bench) -> Script:
        lags = []
        for number in range(1, bench.repeats + 1):
            yield from from_below(Fraction(0), "the place, from below")
            below = yield from read(f"below-{number}", f"{number}: the reading, come from below?", "part-angle")
            yield TurnTo(APPROACH, "on a little, to come from the other side", straight=True)
            yield TurnTo(Fraction(0), "the place, from above", straight=True)
            above = yield from read(f"above-{number}", f"{number}: the reading, come from above?", "part-angle")
            lags.append(above - below)
        return (_found(bench, lags),)


def _found(bench: Bench, lags: list[float]) -> Finding:
    lag = mean_of(lags, 0.0).no_better_than(of_limits(bench.read_to) * math.sqrt(2 / len(lags)))
    stated = 2 * math.pi * float(lost_motion_of(bench.machine, _shaft_turns(bench)))
    fits = lag.lowest <= stated <= lag.highest
    share = Measured(max(lag.value, 0.0), lag.deviation, lag.freedom)
    return Finding(
        key="lost-motion",
        name="lost motion at the part",
        measured=share.scaled(180 / math.pi),
        unit="deg",
        formula="mean of (reading from above - reading from below) (JCGM 100:2008, 4.2)",
        verdict="as stated" if fits else "change",
        sentence=_sentence(bench, lag, stated, fits=fits),
        change=None if fits else _change(bench, share),
    )


def _shaft_turns(bench: Bench) -> Fraction:
    """Turns of the drive's shaft for a turn of the part, exactly."""
    return bench.per_turn / bench.machine.microsteps_per_shaft_turn


def _sentence(bench: Bench, lag: Measured, stated: float, *, fits: bool) -> str:
    if fits:
        return f"It is as the machine file has it, {degrees(stated)} at the part, as far as can be read."
    if lag.highest <= 0:
        return "The part runs ahead of a turn back, which no lost motion does: look at the signs of the readings."
    where = "in the stage next to the part" if len(bench.machine.gearing) > 1 else "in the gearing"
    return f"The machine file has {degrees(stated)} at the part. Most of it is likely {where}, or in a loose coupling."


def _change(bench: Bench, lag: Measured) -> Change | None:
    """What to write at the last stage: what the part shows, less what the stages before it do as stated."""
    gearing = bench.machine.gearing
    if not gearing or lag.value <= 0:
        return None
    turns = _shaft_turns(bench)
    own = lag.value / (2 * math.pi) - float(lost_motion_of(bench.machine, turns, but_last=True))
    return Change(f"gearing.{len(gearing) - 1}.lost_motion", f"{max(own * float(turns) * 360, 0.0):.4g} deg")
