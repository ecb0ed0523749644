"""Machines drawn at random: drive, gearing, driver and part as the files have them, and what is hidden of each."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from firmware_host.errors import FirmwareHostError
from firmware_host.model import Setup, load_machine
from firmware_host.model.files.loading import job_from
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from tests.commissioning.hidden.machines import Hidden

_CHUCKS = ("belt-chuck", "direct-chuck", "printer-board-chuck", "fourth-axis-chuck", "worm-chuck")
_DENSITIES = ("7860 kg/m^3", "2700 kg/m^3", "8500 kg/m^3", "1400 kg/m^3")


@dataclass(frozen=True)
class Drawn:
    """The files, how a hand may turn the part by them, and what is hidden.

    `weak`: the same machine with a driver that is set far too low and a supply that makes less than it says, so that
    the motor and not a computed limit is what binds.
    """

    setup: Setup
    plan: HandPlan
    hidden: Hidden
    weak: Hidden


def drawn_machine(seed: int) -> Drawn:
    """The machine of that seed: drawn anew until one can be planned at all."""
    rng = random.Random(seed)
    while True:
        try:
            setup = _setup(rng)
            plan = hand_on_job(setup)
        except FirmwareHostError:
            continue
        hidden = _hidden(rng)
        return Drawn(setup, plan, hidden, _weak(hidden, setup, rng))


def _setup(rng: random.Random) -> Setup:
    name = rng.choice((*_CHUCKS, "belt-chuck", "two-rollers", "two-rollers"))
    machine = load_machine(name)
    rollers = machine.drive.rolls_on_part
    diameter = rng.uniform(40e-3, 90e-3) if rollers else rng.uniform(14e-3, 75e-3)
    length = rng.uniform(30e-3, 160e-3)
    part = {
        "kind": rng.choice(("solid", "tube")),
        "diameter": f"{diameter * 1e3:.2f} mm",
        "length": f"{length * 1e3:.1f} mm",
        "density": rng.choice(_DENSITIES),
        "overhang": f"{length * 500:.1f} mm",
    }
    if part["kind"] == "tube":
        part["inner_diameter"] = f"{diameter * 1e3 * rng.uniform(0.4, 0.8):.2f} mm"
    arc = rng.uniform(0.2, 0.9) * math.pi * diameter
    job = {
        "version": 1,
        "name": "drawn",
        "machine": name,
        "part": part,
        "mark": {"arc": f"{arc * 1e3:.2f} mm", "width": "12 mm", "passes": 1},
        "window": {"half_depth": f"{rng.uniform(0.3, 1.5):.2f} mm", "focus": "crown", "incidence_limit": "45 deg"},
        "index": {"finish": "unwind"},
    }
    current = machine.driver.current.si * rng.uniform(0.7, 1.0)
    values = {"driver.microsteps": rng.choice((8, 16, 32)), "driver.current": f"{current:.3f} A"}
    if machine.gearing and machine.gearing[0].driven_teeth is not None and machine.gearing[0].kind != "worm":
        driven = round(machine.gearing[0].driven_teeth * rng.uniform(0.6, 1.4))
        values["gearing.0.driven_teeth"] = max(driven, 12)
    return job_from(job, machine=machine).with_values(values)


def _hidden(rng: random.Random) -> Hidden:
    return Hidden(
        ratio=rng.choice((0.0, rng.uniform(-0.05, 0.05))),
        lost_motion=math.radians(rng.uniform(0.0, 1.0)),
        run_out=rng.uniform(0.02e-3, 0.4e-3),
        run_out_at=rng.uniform(0.0, 2 * math.pi),
        inertia=rng.uniform(0.8, 1.25),
        torque=rng.uniform(0.35, 1.05),
        damping=rng.uniform(0.05, 0.15),
        friction=rng.uniform(0.5, 1.1),
    )


def _weak(hidden: Hidden, setup: Setup, rng: random.Random) -> Hidden:
    supply = setup.machine.driver.supply_voltage.si * rng.uniform(0.6, 1.0)
    tables = {"motor": {"supply_voltage": f"{supply:.2f} V"}}
    return replace(hidden, torque=rng.uniform(0.1, 0.42), tables=tables)
