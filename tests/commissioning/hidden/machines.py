"""Machines that are not as their files say: what is hidden of each, and the true axis that follows from it."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from firmware_host.model import Setup
from firmware_host.planning.load.case import load_case
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.simulator.true_machine.description import TrueMachine
from firmware_host.simulator.true_machine.rotor import rotor_of


@dataclass(frozen=True)
class Hidden:
    """What is not as the files say: shares of a turn, rad, m; `inertia`, `friction`: over those of the files.

    `tables`: whatever else the file of a true machine may hold, as it holds it.
    """

    ratio: float = 0.0
    lost_motion: float = 0.0
    slip: float = 0.0
    run_out: float = 0.0
    run_out_at: float = 0.0
    oval: float = 0.0
    scatter: float = 0.0
    inertia: float = 1.0
    friction: float = 1.0
    torque: float = 1.0
    damping: float = 0.1
    way: str = "clockwise"
    tables: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def true_machine(self, setup: Setup) -> TrueMachine:
        """What was really built of the machine of `setup`, with its part in it."""
        load = load_case(setup.machine, setup.job)
        contact = setup.job.part.contact
        tables: dict[str, dict[str, Any]] = {
            "ratio": {"share": self.ratio},
            "train": {"lost_motion": f"{self.lost_motion} rad"},
            "slip": {"share": self.slip, "scatter": f"{self.scatter} rad"},
            "part": {
                "diameter": f"{contact.si} m",
                "eccentricity": f"{self.run_out} m",
                "highest_at": f"{self.run_out_at} rad",
                "out_of_round": f"{self.oval} m",
            },
            "load": {"friction_torque": f"{load.friction_torque * self.friction} N*m"},
            "motor": {"torque_factor": self.torque, "damping_ratio": self.damping,
                      "rotor_inertia": f"{load.rotor_inertia} kg*m^2"},
        }  # fmt: skip
        for name, table in self.tables.items():
            tables[name] = {**tables.get(name, {}), **table}
        made = {"version": 1, "turns": self.way, **tables}
        if "inertia" not in tables["load"]:
            tables["load"]["inertia"] = f"{_behind_the_gearing(made, setup) * self.inertia} kg*m^2"
        return TrueMachine.model_validate(made)

    def axis(self, setup: Setup, rng: random.Random) -> TrueAxis:
        """The axis to hang on a board's wires."""
        return TrueAxis(self.true_machine(setup), setup.machine, rng)


def _behind_the_gearing(made: Mapping[str, Any], setup: Setup) -> float:
    """Inertia (kg m^2) about the part's axis of all that the files have behind the gearing."""
    load = load_case(setup.machine, setup.job)
    probe = {**made, "load": {**made["load"], "inertia": "1e-9 kg*m^2"}}
    bare = rotor_of(TrueMachine.model_validate(probe), setup.machine)
    gearing = bare.rotor_inertia - load.rotor_inertia + bare.load_inertia
    return max(load.reflected_inertia - gearing, 1e-3 * load.rotor_inertia) * load.ratio**2


def microsteps_of(angle: float, per_turn: float) -> float:
    """An angle of the part (rad) in microsteps."""
    return angle * per_turn / (2 * math.pi)
