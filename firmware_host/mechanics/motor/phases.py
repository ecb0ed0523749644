"""What the two phases of a hybrid stepping motor carry in full steps, half steps and microsteps, shaped or not.

Torque, heat and supply of one motor follow from one of these. Shares are of k_T I and of I^2 R, with I the current that
the driver is set to: of a sine its peak. Not shaped, a phase carries I or nothing (two phases on in full steps; one and
two in turn in half steps: STMicroelectronics AN4158, table 3). Shaped, the phases carry I cos and I sin at every step,
so 0.7071 I each where both are on (the step tables of A4988 and DRV8825, Allegro and Texas Instruments, from memory).
Finer microsteps are always shaped.
"""

from __future__ import annotations

import math
from enum import Enum


class PhaseMode(Enum):
    """How the driver feeds the two phases."""

    FULL_STEP = "full step"
    """Both phases at full current, reversed one after the other: square waves."""

    HALF_STEP = "half step"
    """One phase and both in turn, each at the same current."""

    SHAPED_FULL_STEP = "shaped full step"
    """Both phases at 0.7071 of the set current."""

    SHAPED_HALF_STEP = "shaped half step"
    """One phase at the set current and both at 0.7071 of it, in turn."""

    SINE = "sine"
    """Microsteps: a sine and a cosine."""

    @classmethod
    def of(cls, microsteps: int, *, shaped: bool) -> PhaseMode:
        """The mode of a driver that makes `microsteps` (>= 1) of a full step; `shaped`: also full and half steps."""
        coarse = {
            1: (cls.FULL_STEP, cls.SHAPED_FULL_STEP),
            2: (cls.HALF_STEP, cls.SHAPED_HALF_STEP),
        }
        return coarse[microsteps][shaped] if microsteps in coarse else cls.SINE

    @property
    def static_share(self) -> float:
        """Peak static torque over k_T I: sqrt(2) with both phases full on; in half steps the weaker place, one on."""
        return math.sqrt(2.0) if self is PhaseMode.FULL_STEP else 1.0

    @property
    def pull_out_share(self) -> float:
        """Most torque of slow steps over k_T I: where two neighbouring static curves cross.

        Full steps: sqrt(2) cos(pi/4), shaped cos(pi/4); half steps: 1, at the peak of the weaker curve, shaped
        cos(pi/8) (P. Acarnley, Stepping Motors, IET, chapter 4, from memory). Microsteps count as smooth: the crossing
        at cos(pi/(4 M)) is 1.9 % lower with 4 of them, 0.1 % with 16.
        """
        shaped = {PhaseMode.SHAPED_FULL_STEP: math.cos(math.pi / 4), PhaseMode.SHAPED_HALF_STEP: math.cos(math.pi / 8)}
        return shaped.get(self, 1.0)

    @property
    def voltage_share(self) -> float:
        """Fundamental of the phase voltage over the supply's: 4/pi of a square wave, and a sine as high as the supply.

        Half steps, a square wave with gaps, lie between; they count as a sine.
        """
        return 4.0 / math.pi if self in (PhaseMode.FULL_STEP, PhaseMode.SHAPED_FULL_STEP) else 1.0

    @property
    def standing_loss_share(self) -> float:
        """Copper loss over I^2 R at the warmest place that the motor may stand at: 2 where both phases carry I."""
        return 2.0 if self in (PhaseMode.FULL_STEP, PhaseMode.HALF_STEP) else 1.0

    @property
    def moving_loss_share(self) -> float:
        """Mean copper loss over I^2 R from step to step: 1.5 in half steps, one and two phases in turn."""
        return 1.5 if self is PhaseMode.HALF_STEP else self.standing_loss_share
