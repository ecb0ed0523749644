"""`grip`: what a part on rollers loses to creep in a turn, and from which acceleration on it creeps more."""

from __future__ import annotations

import math
from collections.abc import Generator
from fractions import Fraction

from firmware_host.commissioning.estimates.fits import line_through
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import (
    APPROACH,
    Bench,
    Procedure,
    degrees,
    from_below,
    in_lots,
    read,
    require_plan,
)
from firmware_host.commissioning.procedures.motion.creeping import AGAIN, MOVES, TRIAL_S, WAY, calm, creeping, try_out
from firmware_host.commissioning.procedures.motion.crept import grip_findings, grips
from firmware_host.commissioning.procedures.motion.search import usual_trials
from firmware_host.commissioning.script import Answer, Say, Script, Step
from firmware_host.errors import InputError


class Grip(Procedure):
    """Whole turns, with lines on the part and on the driven roller; then quick moves, until the part creeps in them."""

    key = "grip"
    title = "creep on the rollers"
    purpose = (
        "Shows how far the part falls behind its rollers, every seam overlaps by its share of that; and from which "
        "acceleration on it slides, which is what the rollers grip by."
    )
    needs = ("a line on the part and one on the driven roller", "a rule at the part's surface, a protractor")
    turns, repeats, fewest = 2, 4, 2

    def moves(self, bench: Bench) -> str:
        if not _tries(bench):
            return in_lots(bench)
        quickest = bench.plan.quickest(WAY) if bench.plan is not None else None
        told = f", up to {degrees(quickest.acceleration)}/s^2 and {degrees(quickest.speed)}/s" if quickest else ""
        usual = usual_trials(AGAIN)
        return (
            f"{in_lots(bench)} CAUTION: then it turns {MOVES * WAY} turns to either side in quick moves{told}, and may "
            f"slide or climb: keep clear. About {usual} trials, {usual * TRIAL_S / 60:.0f} minutes."
        )

    def script(self, bench: Bench) -> Script:
        if not bench.machine.drive.rolls_on_part:
            raise InputError("the machine has no rollers", "In a chuck, measure the ratio instead", key="procedure")
        turns = [lot * bench.turns for lot in range(bench.repeats + 1)]
        lags, pace = [], None
        if _tries(bench):  # what a move of the plan slides by is no steady creep
            pace = calm(require_plan(bench), (Fraction(bench.turns) + APPROACH, Fraction(bench.turns), APPROACH))
        per_turn = float(bench.per_turn / bench.machine.microsteps_per_shaft_turn)
        for each in turns:
            yield from from_below(each, f"{each} turns from the beginning", pace)
            question = f"After {each} turns: how far beyond its place is the line on the part (- if it stopped short)?"
            part = yield from read(f"part-{each}", question, "part-angle")
            roller = yield from read(f"roller-{each}", "And the line on the driven roller, beyond its own?", "angle")
            lags.append((roller / per_turn - part) / (2 * math.pi))
        slip = line_through(turns, lags).slope_read_to(bench.read_to / (2 * math.pi))
        quickly = yield from _quickly(bench, Fraction(turns[-1]), slip)
        return (_found(bench, slip), *quickly)


def _tries(bench: Bench) -> bool:
    return bench.paced and bench.setup is not None


def _quickly(bench: Bench, begins: Fraction, steady: Measured) -> Generator[Step, Answer | None, tuple[Finding, ...]]:
    """What quick moves say; nothing where they can't be made, or where they would show nothing."""
    if not _tries(bench):
        yield Say(
            "From which acceleration on it creeps more is tried for a job, with --write-settings: the controller gets "
            "each acceleration for its trial."
        )
        return ()
    of = grips(bench)
    if of is None:
        yield Say(
            "From which acceleration on it creeps more can't be seen of this part: what it slides back by while "
            "speeding up it slides on by while braking."
        )
        return ()
    here = creeping(bench, begins, steady)
    return grip_findings(here, of, (yield from try_out(here)))


def _found(bench: Bench, slip: Measured) -> Finding:
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
        sentence=f"The machine file has {f'{100 * stated:.2f} %' if stated else 'none'}.",
        change=Change("drive.slip", float(f"{slip.value:.3g}")) if not fits and 0 < slip.value < 0.2 else None,
    )
