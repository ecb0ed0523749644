"""The number to write in place of the wrong one, and of which sensible ratio a measured one is the nearest."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from firmware_host.commissioning.seam.evidence import Explanation
from firmware_host.model import Machine, Setup

COVERAGE = 1.96
"""95 % of a normal distribution lies within so many standard deviations (JCGM 100:2008, table G.1)."""
_MICROSTEPS = (1, 2, 4, 5, 8, 10, 16, 20, 25, 32, 40, 50, 64, 100, 125, 128, 200, 250, 256)
_FULL_STEPS = (200, 400)
_AS_MADE = 0.002
"""Wheels and switches are looked at that come so close, however well the ratio was measured."""
_NO_WHEEL = "no wheel or switch near those entered makes this: does a belt or a coupling slip?"
_TEETH = 6
"""So many teeth more or fewer are looked at."""


@dataclass(frozen=True)
class Correction:
    """`key` of the `file` ("job" or "machine") that is wrong, and what it should be.

    `entered` and `true` in `unit` (mm, or none for a part of something), `within`: the true one lies that close with 95
    in 100. `likely`: what it may really be, as sentences, the nearest first.
    """

    file: str
    key: str
    entered: float
    true: float
    within: float
    unit: str
    likely: tuple[str, ...] = ()


def correction_of(found: Explanation, setup: Setup) -> Correction | None:
    """What to change for the cause `found`; None where no number of a file is wrong."""
    if found.cause is None:
        return None
    amount, within = found.amount, COVERAGE * max(found.deviations)
    cradle = setup.machine.drive.cradle
    key = found.cause.key
    if key == "part-diameter":
        entered = setup.job.part.diameter.si * 1e3
        return Correction(
            "job", "part.diameter", entered, entered * (1 + amount), entered * within, "mm", _swapped(amount)
        )
    if key == "roller-diameter" and cradle is not None:
        entered = cradle.roller_diameter * 1e3
        return Correction("machine", "drive.roller_diameter", entered, entered * (1 + amount), entered * within, "mm",
                          _swapped(amount))  # fmt: skip
    if key == "slip" and cradle is not None:
        total = 1 - (1 - cradle.slip) * (1 - amount)
        return Correction("machine", "drive.slip", cradle.slip, total, within, "")
    if key == "ratio":
        per_turn = float(setup.machine.motor_turns_per_part_turn(setup.job.part.contact))
        steps = per_turn * setup.machine.motor.full_steps * setup.machine.driver.microsteps
        true = steps / (1 + amount) if amount > -1 else math.inf
        close = sensible_ratios(setup.machine, amount, within)
        likely = tuple(f"perhaps {words} ({off:+.2%} off)" for off, words in close) or (_NO_WHEEL,)
        return Correction("machine", "gearing, driver.microsteps or motor.full_steps", steps, true, true * within,
                          "steps per turn of the part", likely)  # fmt: skip
    return None


def sensible_ratios(machine: Machine, amount: float, within: float) -> tuple[tuple[float, str], ...]:
    """Settings that make the shaft turn (1 + `amount`) times as far as commanded, to `within`; the nearest first.

    Each with how far it is off. Common values of microsteps and full steps, and wheels of a few teeth more or fewer.
    """
    wanted = 1 + amount
    close = [
        (float(factor) / wanted - 1, words)
        for factor, words in _alternatives(machine)
        if wanted > 0 and abs(float(factor) / wanted - 1) <= max(within, _AS_MADE)
    ]
    return tuple(sorted(close, key=lambda each: abs(each[0]))[:4])


def _alternatives(machine: Machine) -> Iterator[tuple[Fraction, str]]:
    microsteps, full = machine.driver.microsteps, machine.motor.full_steps
    for other in _MICROSTEPS:
        if other != microsteps:
            yield Fraction(microsteps, other), f"driver.microsteps = {other} in place of {microsteps}"
    for other in _FULL_STEPS:
        if other != full:
            yield Fraction(full, other), f"motor.full_steps = {other} in place of {full}"
    for stage in machine.gearing:
        if stage.driving_teeth is None or stage.driven_teeth is None:
            continue
        for more in range(-_TEETH, _TEETH + 1):
            if more == 0:
                continue
            driving, driven = stage.driving_teeth + more, stage.driven_teeth + more
            if driving > (0 if stage.kind == "worm" else 5):
                words = f"{stage.name}: driving_teeth = {driving} in place of {stage.driving_teeth}"
                yield Fraction(driving, stage.driving_teeth), words
            if driven > 5:
                words = f"{stage.name}: driven_teeth = {driven} in place of {stage.driven_teeth}"
                yield Fraction(stage.driven_teeth, driven), words


def _swapped(amount: float) -> tuple[str, ...]:
    """A hint where the size is off by what a slip of the pen makes of it."""
    slips = {2.0: "a radius was entered for the diameter", 0.5: "twice the diameter was entered",
             math.pi: "the circumference was measured, or a diameter taken for it"}  # fmt: skip
    return tuple(words for factor, words in slips.items() if abs((1 + amount) / factor - 1) < 0.02)
