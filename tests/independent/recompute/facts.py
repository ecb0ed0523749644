"""What machine, job and motion say, as plain numbers (docs: Gearing, Rollers, Steps, Index move)."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from math import asin, cos, pi, sin, sqrt, tan
from typing import Any

from tests.independent.recompute.body import weight_of
from tests.independent.recompute.trough import G, forces
from tests.independent.values import contact, known, of, si

# Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A, tables 7.21 (low ends) and 7.22 (in m).
STATIC_FRICTION = {"steel_on_steel": 0.12, "plastic_on_steel": 0.20, "plastic_belt_on_steel": 0.25}
LEVER_ARM = {"steel_on_steel": 0.5e-3, "plastic_on_steel": 2.0e-3, "hard_rubber_on_steel": 7.0e-3}


@dataclass
class Motion:
    """Speed and acceleration of the part, and the lengths (rad of the part) of its moves that are not nothing."""

    speed: float
    acceleration: float
    lengths: list[float]

    def __post_init__(self) -> None:
        self.longest = max(self.lengths, default=2 * pi)
        self.cruises = self.longest > self.speed**2 / self.acceleration * (1 + 1e-7)
        at_the_edge = abs(self.longest * self.acceleration / self.speed**2 - 1) < 1e-6
        self.may_cruise = {True, False} if at_the_edge else {self.cruises}
        self.peak = min(self.speed, sqrt(self.longest * self.acceleration))
        if self.cruises:
            self.duration = self.longest / self.speed + self.speed / self.acceleration
        else:
            self.duration = 2 * sqrt(self.longest / self.acceleration)


@dataclass
class Stage:
    """Turns in per turn out, efficiency, and what turns on its two shafts."""

    ratio: float
    efficiency: float = 1.0
    inertia_in: float = 0.0
    inertia_out: float = 0.0


@dataclass
class Facts:
    """The described pair as numbers; `missing`: by what they make unknown, whether a datum isn't there.

    `bands`: of natural frequencies, `windings`: (resistance, inductance), each over all that is assumed of them.
    `allowed`: how many times the swing of the part is taken, for what may err on the safe side.
    """

    machine: dict[str, Any]
    job: dict[str, Any]
    motion: Motion
    missing: dict[str, bool] = field(default_factory=dict)
    bands: list[tuple[float, float]] | None = None
    windings: list[tuple[float, float]] = field(default_factory=list)
    allowed: float = 1.0
    least_pull_out: float | None = None

    def __post_init__(self) -> None:
        part, drive = self.job["part"], self.machine["drive"]
        self.part, self.drive, self.motor = part, drive, self.machine["motor"]
        self.driver, self.support = self.machine["driver"], self.machine.get("support", {})
        self.rolling = drive["kind"] == "rollers"
        self.mass, self.inertia, self.moment, self.disagreement = weight_of(part)
        self.tilt = of(self.machine.get("axis", {}), "tilt")
        self.weight, self.along = self.mass * G * cos(self.tilt), self.mass * G * sin(self.tilt)
        self.imbalance = self.moment * G * cos(self.tilt)
        self.full_steps = int(
            self.motor.get("full_steps_per_revolution") or round(2 * pi / si(self.motor["step_angle"]))
        )
        self.teeth = self.full_steps // 4
        self.microsteps = int(self.driver["microsteps"])
        self.gearing = self.stages = [stage_of(stage) for stage in self.machine["gearing"]]
        self._drive_facts()
        self.ratio = 1.0
        for stage in self.stages:
            self.ratio *= stage.ratio
        self._find_missing()

    def _drive_facts(self) -> None:
        """On rollers the surfaces roll on each other: one more stage, from the rollers' shaft to the part."""
        drive = self.drive
        self.contact = contact(self.part)
        self.on_shaft = self.inertia
        if not self.rolling:
            self.on_shaft += si(drive["inertia"])
            self.friction = of(drive, "friction_torque")
            if self.support.get("tailstock"):
                self.friction += of(self.support, "friction_torque")
            self.friction += of(self.support.get("steady_rest", {}), "friction_torque")
            return
        self.roller = si(drive["roller_diameter"])
        self.roller_inertia = drive["rollers"] * si(drive["roller_inertia"])
        turns = self.contact / self.roller
        self.one_row = drive.get("driven_rows", 1) == 1
        self.stages = [*self.stages, Stage(turns, inertia_in=self.roller_inertia)]
        surfaces = drive.get("surfaces", "")
        self.mu = known(drive, "friction") or STATIC_FRICTION[surfaces]
        arm = known(drive, "rolling_resistance")
        self.arm_known = arm is not None or surfaces in LEVER_ARM
        self.arm = arm if arm is not None else LEVER_ARM.get(surfaces, 0.0)
        self.idle_torque = of(drive, "idle_friction_torque") if self.one_row else 0.0
        self.idle_inertia = self.roller_inertia / 2 if self.one_row else 0.0
        self.stop_torque = 0.0  # left out of the normals that rolling friction goes by
        self.centres = si(drive["centre_distance"])
        self.fallen = self.centres >= self.contact + self.roller
        self.beta = asin(min(1.0, self.centres / (self.contact + self.roller)))
        self.friction_along = tan(self.tilt) * cos(self.beta)
        self.mu_left = self.mu
        if not drive.get("axial_stop") and self.friction_along < self.mu:  # else it slides: `axial-slide`
            self.mu_left = sqrt(self.mu**2 - self.friction_along**2)
        if self.fallen:
            return
        pressing = max(sum(forces(self, 0.0, 0.0, sense)[:2]) for sense in (1, -1))
        self.friction = (of(drive, "friction_torque") + self.idle_torque) * turns + self.arm * pressing * (1 + turns)
        self.stop_torque = of(drive, "stop_friction_torque")
        self.friction += self.stop_torque

    def _find_missing(self) -> None:
        gearing, drive = self.machine["gearing"], self.drive
        friction = "friction_torque" not in drive
        if self.rolling:
            friction |= not self.arm_known or (self.one_row and "idle_friction_torque" not in drive)
        elif self.support.get("tailstock"):
            friction |= "friction_torque" not in self.support
        self.missing = {
            "inertia": any("driving_inertia" not in s or "driven_inertia" not in s for s in gearing),
            "efficiency": any("efficiency" not in s for s in gearing),
            "friction": friction,
            "imbalance": "mass_offset" not in self.part and self.part["kind"] != "mesh",
        }

    def lacks(self, *what: str) -> bool:
        """Whether a datum behind any of these isn't there."""
        return any(self.missing[name] for name in what)

    @property
    def reflected(self) -> float:
        """Inertia of all but the rotor, at the motor."""
        return through(self.stages, self.on_shaft)

    @property
    def total_inertia(self) -> float:
        return si(self.motor["rotor_inertia"]) + self.reflected


def through(stages: list[Stage], inertia: float) -> float:
    """Inertia of stages and of what turns on their last shaft, at the motor."""
    for stage in reversed(stages):
        inertia = stage.inertia_in + (stage.inertia_out + inertia) / stage.ratio**2
    return inertia


def stage_of(stage: dict[str, Any]) -> Stage:
    """A stage as described."""
    if "ratio" in stage:
        ratio = float(Fraction(stage["ratio"]))
    else:
        ratio = stage["driven_teeth"] / stage["driving_teeth"]
    return Stage(ratio, of(stage, "efficiency", 1.0), of(stage, "driving_inertia"), of(stage, "driven_inertia"))
