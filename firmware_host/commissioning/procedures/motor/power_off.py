"""`power-off`: what the part does when the motor is without current."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Literal, NamedTuple

from firmware_host.commissioning.estimates.measured import Measured, of_limits
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, degrees, from_below, read
from firmware_host.commissioning.procedures.motor.cycle import known
from firmware_host.commissioning.script import Hold, Release, Say, Script
from firmware_host.planning.load.case import load_case

Does = Literal["holds", "turns"]
_FINEST_TURNS = 10**6


class Drift(NamedTuple):
    """How far it moved at the place where it moved most (rad, >= 0), and what a full step of the motor is there."""

    most: Measured
    full_step: float

    @property
    def stood(self) -> bool:
        """Whether nothing was seen to move."""
        return self.most.lowest <= 0

    @property
    def does(self) -> Does:
        """A motor that is let go of comes to its nearest own resting place, a full step away at the most."""
        return "holds" if self.most.lowest <= self.full_step else "turns"


class PowerOff(Procedure):
    """Let go of the motor at places around, and read how far the part moves by itself."""

    key = "power-off"
    title = "what happens when power goes"
    purpose = "Shows whether a part can be left clamped without current, and what a power cut does to a run."
    needs = ("a line on the part and something that stands still", "a support for a part that may turn or fall")
    repeats, fewest = 4, 2

    def moves(self, bench: Bench) -> str:
        return (
            f"The part turns once round, in {bench.repeats} steps of {360 / bench.repeats:.4g} deg. At each the motor "
            "is released: a part that is heavy on one side swings round at once, and what hangs on it falls. Support "
            "it, let go slowly, and keep hands away from jaws and rollers."
        )

    def script(self, bench: Bench) -> Script:
        yield Say("Friction and the motor's own resting places are what holds without current. No brake is counted.")
        drifts = []
        for number in range(bench.repeats):
            place = Fraction(number, bench.repeats)
            where = f"{float(place * 360):.4g} deg"
            yield from from_below(place, where)
            before = yield from read(f"before-{number}", f"At {where}, motor on: where is the line?", "part-angle")
            yield Release("support the part, and let go slowly")
            after = yield from read(f"after-{number}", "And now, let go of (a whole turn is 360 deg)?", "part-angle")
            drifts.append(after - before)
            yield Hold(place + _turns(after - before), "where it stands now")
        return (_found(bench, drifts),)


def _turns(angle: float) -> Fraction:
    return Fraction(angle / (2 * math.pi)).limit_denominator(_FINEST_TURNS)


def _found(bench: Bench, drifts: list[float]) -> Finding:
    most = max(drifts, key=abs)
    full_step = 2 * math.pi / float(bench.per_turn) * bench.machine.driver.microsteps
    drift = Drift(Measured(abs(most), of_limits(bench.read_to) * math.sqrt(2)), full_step)
    stated = bench.machine.axis.unpowered
    return Finding(
        key="power-off",
        name="without current the part moves by, at most",
        measured=drift.most.scaled(180 / math.pi),
        unit="deg",
        formula="the largest of (line after - line before) at places around (JCGM 100:2008, 4.3.7)",
        verdict="as stated" if stated == drift.does else "change",
        sentence=f"{_sentence(drift)} {_expected(bench, drift.does)}".strip(),
        change=None if stated == drift.does else Change("axis.unpowered", drift.does),
    )


def _sentence(drift: Drift) -> str:
    if drift.does == "turns":
        return (
            "It turns away: never leave it clamped without current unless it is supported. After a power cut set the "
            "zero anew before a run is resumed; a run does not release the motor any more."
        )
    cut = "After a power cut a run can be resumed once you see that the line stands at its place."
    if drift.stood:
        return f"It stands: a part like this may be left clamped without current. {cut}"
    return (
        f"It comes to the motor's next resting place, {degrees(drift.full_step)} away at the most, and holds there: a "
        f"part like this may be left clamped. {cut.removesuffix('.')}: turn it back to its place first."
    )


def _expected(bench: Bench, does: Does) -> str:
    """What the plan's own data say of this part, where they say something else than what was seen."""
    if bench.setup is None:
        return ""
    load, detent = load_case(bench.machine, bench.setup.job), known(bench.machine).motor.detent_torque
    holding = load.friction_torque + (detent.si * load.ratio if detent is not None else 0.0)
    expected: Does = "holds" if load.imbalance_torque <= holding else "turns"
    if expected == does:
        return ""
    return (
        f"The files speak for the other: imbalance {load.imbalance_torque:.3g} N*m, friction and detent torque "
        f"{holding:.3g} N*m at the part. Measure them (`drag`)."
    )
