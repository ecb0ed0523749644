"""The number to write in place of the wrong one, and of which sensible ratio a measured one is the nearest."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firmware_host.commissioning.estimates.measured import NORMAL_95
from firmware_host.commissioning.seam.evidence import Explanation
from firmware_host.commissioning.sensible import NO_WHEEL, sensible_ratios
from firmware_host.model import Setup


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
    amount, within = found.amount, NORMAL_95 * max(found.deviations)
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
        likely = tuple(f"perhaps {each.words}" for each in close) or (NO_WHEEL,)
        return Correction("machine", "gearing, driver.microsteps or motor.full_steps", steps, true, true * within,
                          "steps per turn of the part", likely)  # fmt: skip
    return None


def _swapped(amount: float) -> tuple[str, ...]:
    """A hint where the size is off by what a slip of the pen makes of it."""
    slips = {2.0: "a radius was entered for the diameter", 0.5: "twice the diameter was entered",
             math.pi: "the circumference was measured, or a diameter taken for it"}  # fmt: skip
    return tuple(words for factor, words in slips.items() if abs((1 + amount) / factor - 1) < 0.02)
