"""What the limit checks look at: machine, job, load case, and what the indexes reach."""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class LimitCase:
    """One job on one machine at one motion."""

    machine: Machine
    job: Job
    load: LoadCase
    index: IndexExtremes
