"""Ratios that a machine may have near the one entered: other switches, another motor, wheels of a few teeth more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from firmware_host.model import Machine

_MICROSTEPS = (1, 2, 4, 5, 8, 10, 16, 20, 25, 32, 40, 50, 64, 100, 125, 128, 200, 250, 256)
_FULL_STEPS = (200, 400)
_AS_MADE = 0.002
"""Wheels and switches are looked at that come so close, however well the ratio was measured."""
_TEETH = 6
"""So many teeth more or fewer are looked at."""
_FEWEST_TEETH = 6
NO_WHEEL = "no wheel or switch near those entered makes this: does a belt or a coupling slip?"
_TOLD = 0.5e-4
"""A ratio that is off by less is told as exactly that."""


@dataclass(frozen=True)
class Alternative:
    """`key` of the machine's file at `value` in place of `entered`; `off`: how far it is from what was measured."""

    key: str
    value: int
    entered: int
    off: float

    @property
    def words(self) -> str:
        """What it is, as a machinist reads it."""
        off = f"{100 * self.off:+.2f} % off" if abs(self.off) >= _TOLD else "exactly"
        return f"{self.key} = {self.value} in place of {self.entered} ({off})"


def sensible_ratios(machine: Machine, amount: float, within: float) -> tuple[Alternative, ...]:
    """What makes the shaft turn (1 + `amount`) times as far as commanded, to `within`; the nearest first, at most four.

    Common values of microsteps and full steps, and wheels of a few teeth more or fewer.
    """
    wanted = 1 + amount
    if wanted <= 0:
        return ()
    close = (
        Alternative(key, value, entered, float(factor) / wanted - 1)
        for factor, key, value, entered in _alternatives(machine)
        if abs(float(factor) / wanted - 1) <= max(within, _AS_MADE)
    )
    return tuple(sorted(close, key=lambda each: abs(each.off))[:4])


def _alternatives(machine: Machine) -> Iterator[tuple[Fraction, str, int, int]]:
    """How many times as far the shaft turns, and which key at which value makes it."""
    microsteps, full = machine.driver.microsteps, machine.motor.full_steps
    for other in _MICROSTEPS:
        if other != microsteps:
            yield Fraction(microsteps, other), "driver.microsteps", other, microsteps
    for other in _FULL_STEPS:
        if other != full:
            yield Fraction(full, other), "motor.full_steps_per_revolution", other, full
    for place, stage in enumerate(machine.gearing):
        if stage.driving_teeth is None or stage.driven_teeth is None:
            continue
        for more in (each for each in range(-_TEETH, _TEETH + 1) if each):
            driving, driven = stage.driving_teeth + more, stage.driven_teeth + more
            if driving >= (1 if stage.kind == "worm" else _FEWEST_TEETH):
                factor = Fraction(driving, stage.driving_teeth)
                yield factor, f"gearing.{place}.driving_teeth", driving, stage.driving_teeth
            if driven >= _FEWEST_TEETH:
                yield Fraction(stage.driven_teeth, driven), f"gearing.{place}.driven_teeth", driven, stage.driven_teeth
