"""What the limits look at: machine, job, load, and what the indexes reach."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from firmware_host.mechanics.contact.trough import AnyTrough
from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.load.case import LoadCase


@dataclass(frozen=True, slots=True)
class IndexExtremes:
    """What the indexes reach: part `acceleration` (rad/s^2), `peak_speed` (rad/s) of the longest, if it cruises.

    `longest` (rad, > 0) is the longest index and `duration` (s, > 0) its time. `peak_pushing` and `peak_holding`: peak
    over steady torque of the inertia while ringing, >= 1, pushing the load on and holding it back.
    """

    acceleration: float
    peak_speed: float
    cruises: bool
    longest: float
    duration: float
    peak_pushing: float
    peak_holding: float

    @property
    def cruising(self) -> FloatArray:
        """The peak speed if the longest cruises at it, else 0."""
        return np.where(self.cruises, self.peak_speed, 0.0)


@dataclass(frozen=True)
class LimitCase:
    """One job on one machine at one motion; or many parts at once, see `Limit.margins`."""

    machine: Machine
    job: Job
    load: LoadCase
    index: IndexExtremes

    @cached_property
    def least_pull_out(self) -> FloatArray:
        """Least pull-out torque (N m) on the way to the peak speed."""
        return self.load.lowest_pull_out(self.index.peak_speed)


class AnyLoad(Protocol):
    """What differs from machine to machine: of one as described (`LoadCase`), or of many drawn ones, shape (draws,).

    `imbalance_torque` N m at the part's axis, `imbalance_at_motor` and `standstill_torque` N m at the motor;
    `friction`: coefficient of the rollers' grip, None off rollers as `trough` is.
    """

    @property
    def imbalance_torque(self) -> FloatOrArray: ...

    @property
    def imbalance_at_motor(self) -> FloatOrArray: ...

    @property
    def standstill_torque(self) -> FloatOrArray: ...

    @property
    def trough(self) -> AnyTrough | None: ...

    @property
    def friction(self) -> FloatOrArray | None: ...

    def of_part(self, planned: float) -> FloatOrArray:
        """What the part does when the motor does what is `planned` for it: its acceleration or its speed."""

    def peak_torque(self, up: FloatOrArray, down: FloatOrArray) -> FloatArray:
        """Largest torque (N m at the motor) when a part swings up to `up` and brakes at `down` (rad/s^2, >= 0)."""

    def lowest_pull_out(self, part_speed: float) -> FloatOrArray:
        """Least pull-out torque (N m) on the way from a standstill to `part_speed` (rad/s, as planned)."""


@dataclass(frozen=True, slots=True)
class DrawnCase:
    """Many machines that make the same planned index, each a little different."""

    load: AnyLoad
    index: IndexExtremes
