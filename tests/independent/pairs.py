"""Draws machines and jobs as the plain tables that their files would hold: all kinds, keys left out, units mixed."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

from tests.independent.values import UNITS, contact, si

Table = dict[str, Any]
MESH = Path(__file__).with_name("cylinder.stl")
"""A closed prism of 32 sides, 40 mm thick and 60 mm long, its axis z through the file's origin."""


class Draw:
    """One drawn pair; every optional key is there, or some share of them."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.share = self.random.choice([1.0, 1.0, 0.93, 0.6])

    def between(self, low: float, high: float) -> float:
        """Even in its logarithm, to five digits."""
        return float(f"{low * (high / low) ** self.random.random():.5g}")

    def text(self, kind: str, value: float) -> str:
        """A value in SI as a file has it, in a unit drawn from those that give it a plain number."""
        fitting = [(unit, size) for unit, size in UNITS[kind].items() if 1e-3 <= abs(value) / size < 1e6]
        unit, size = self.random.choice(fitting or [min(UNITS[kind].items(), key=lambda pair: pair[1])])
        return f"{value / size:.6g} {unit}"

    def quantity(self, kind: str, low: float, high: float) -> str:
        return self.text(kind, self.between(low, high))

    def there(self) -> bool:
        return self.random.random() < self.share

    def pick(self, *choices: Any) -> Any:
        return self.random.choice(choices)

    def optional(self, table: Table, **values: Any) -> Table:
        """`table` with most of `values`."""
        return table | {key: value for key, value in values.items() if value is not None and self.there()}


def pair(seed: int) -> tuple[Table, Table]:
    """(machine, job) number `seed`."""
    draw = Draw(seed)
    on_rollers = draw.random.random() < 0.4
    part = draw_part(draw, on_rollers)
    machine = draw_machine(draw, part, on_rollers)
    return machine, draw_job(draw, part)


def draw_motor(draw: Draw) -> Table:
    current, torque = draw.between(0.5, 6.0), draw.between(0.1, 6.0)
    resistance = draw.between(2.0, 20.0) / current**2
    steps = draw.pick(
        {"full_steps_per_revolution": 200},
        {"full_steps_per_revolution": 400},
        {"step_angle": "1.8 deg"},
        {"step_angle": "0.9 deg"},
    )
    ambient = draw.between(20.0, 60.0)
    motor = {
        "name": "drawn motor",
        "rated_current": draw.text("current", current),
        "holding_torque": draw.text("torque", torque),
        "rotor_inertia": draw.text("inertia", torque * draw.between(1e-5, 6e-5)),
        **steps,
    }
    motor = draw.optional(
        motor,
        detent_torque=draw.text("torque", torque * draw.between(0.005, 0.08)),
        resistance=draw.text("resistance", resistance),
        inductance=draw.text("inductance", resistance * draw.between(5e-4, 4e-3)),
        torque_curve=draw_curve(draw, torque, current) if draw.random.random() < 0.5 else None,
        radial_load=draw.quantity("force", 15.0, 400.0),
        radial_load_at=draw.quantity("length", 5e-3, 40e-3),
        axial_load=draw.quantity("force", 5.0, 300.0),
        thermal_resistance=draw.quantity("thermal", 1.0, 10.0),
        highest_temperature=draw.text("temperature", draw.between(80.0, 155.0)),
        ambient=draw.text("temperature", ambient),
        iron_loss_speed=draw.quantity("speed", 20.0, 400.0) if draw.random.random() < 0.5 else None,
        step_accuracy=draw.between(0.02, 0.08),
    )
    return motor


def draw_curve(draw: Draw, torque: float, current: float) -> Table:
    speeds = sorted(draw.between(2.0, 150.0) for _ in range(draw.pick(2, 3, 5)))
    falling = sorted((torque * draw.between(0.1, 0.85) for _ in speeds), reverse=True)
    if draw.random.random() < 0.15:
        falling[0], falling[1] = falling[1], falling[0]
    curve: Table = {
        "supply_voltage": draw.text("voltage", draw.pick(24.0, 36.0, 48.0)),
        "points": [
            {"speed": draw.text("speed", speed), "torque": draw.text("torque", value)}
            for speed, value in zip(speeds, falling, strict=True)
        ],
    }
    return draw.optional(curve, current=draw.text("current", current * draw.between(0.5, 1.0)))


def draw_driver(draw: Draw, motor: Table) -> Table:
    current = si(motor["rated_current"]) * draw.between(0.4, 0.999)
    voltage = draw.between(12.0, 60.0)
    driver = {
        "microsteps": draw.pick(1, 2, 4, 8, 16, 32, 64),
        "current": draw.text("current", current),
        "supply_voltage": draw.text("voltage", voltage),
        "highest_step_rate": draw.quantity("rate", 3e3, 3e5),
    }
    return draw.optional(
        driver,
        highest_current=draw.text("current", current * draw.between(1.01, 2.0)),
        smallest_pulse=draw.quantity("time", 1e-6, 60e-6),
        current_shaped=draw.pick(True, False),
        standstill_current=draw.between(0.2, 1.0),
        highest_supply_voltage=draw.text("voltage", voltage * draw.between(1.02, 1.8)),
        supply_capacitance=draw.quantity("capacitance", 1e-4, 1e-2),
        supply_current=draw.quantity("current", 0.3, 8.0),
    )


def draw_gearing(draw: Draw) -> list[Table]:
    return [draw_stage(draw, number) for number in range(draw.pick(0, 1, 1, 2, 3))]


def draw_stage(draw: Draw, number: int) -> Table:
    kind = draw.pick("toothed-belt", "spur-gears", "worm", "planetary", "coupling")
    stage: Table = {"name": f"stage {number}", "kind": kind}
    if kind == "coupling":
        stage["ratio"] = "1"
    elif kind == "worm":
        stage |= {"driving_teeth": draw.pick(1, 2, 4), "driven_teeth": draw.pick(20, 30, 40)}
    elif kind == "planetary":
        stage["ratio"] = draw.pick("3", "5", "7/2", "3.75")
    else:
        stage |= {"driving_teeth": draw.random.randint(12, 24), "driven_teeth": draw.random.randint(18, 72)}
    if not draw.there():
        del stage["kind"]
    return draw.optional(
        stage,
        efficiency=draw.between(0.25, 0.6) if kind == "worm" else draw.between(0.9, 0.99),
        lost_motion=draw.quantity("angle", 1e-4, 2e-2),
        driving_inertia=draw.quantity("inertia", 5e-7, 2e-5),
        driven_inertia=draw.quantity("inertia", 5e-7, 3e-4),
        self_locking=kind == "worm" and draw.random.random() < 0.7,
    )


def draw_chuck(draw: Draw) -> Table:
    chuck = {"kind": "chuck", "inertia": draw.quantity("inertia", 1e-5, 2e-3)}
    return draw.optional(
        chuck,
        mass=draw.quantity("mass", 0.2, 8.0),
        smallest_grip=draw.quantity("length", 2e-3, 20e-3),
        largest_grip=draw.quantity("length", 40e-3, 160e-3),
        friction_torque=draw.quantity("torque", 2e-3, 0.2),
    )


def draw_rollers(draw: Draw, part: Table) -> Table:
    roller = draw.between(10e-3, 60e-3)
    rollers: Table = {
        "kind": "rollers",
        "roller_diameter": draw.text("length", roller),
        "centre_distance": draw.text("length", (contact(part) + roller) * draw.between(0.35, 1.01)),
        "driven_rows": draw.pick(1, 1, 2),
        "rollers": draw.pick(2, 3, 4),
        "roller_inertia": draw.quantity("inertia", 5e-7, 4e-5),
    }
    if draw.random.random() < 0.75:
        rollers["friction"] = draw.between(0.12, 0.9)
    else:
        rollers["surfaces"] = draw.pick("steel_on_steel", "plastic_on_steel")
    return draw.optional(
        rollers,
        roller_diameter_uncertainty=draw.quantity("length", 1e-5, 2e-4),
        rolling_resistance=draw.quantity("length", 5e-5, 2e-3),
        slip=draw.between(1e-6, 1e-2) if draw.random.random() < 0.3 else None,
        friction_torque=draw.quantity("torque", 1e-3, 3e-2),
        idle_friction_torque=draw.quantity("torque", 1e-4, 3e-3),
        contact_width=draw.quantity("length", 1e-4, 2e-3),
        axial_stop=draw.random.random() < 0.3,
    )


def draw_support(draw: Draw) -> Table:
    tailstock = draw.random.random() < 0.35
    support = draw.optional(
        {"tailstock": tailstock},
        friction_torque=draw.quantity("torque", 1e-3, 5e-2),
        overhang_base=draw.quantity("length", 10e-3, 80e-3),
        largest_overhang_moment=draw.quantity("torque", 0.5, 60.0),
        tailstock_force=draw.quantity("force", 20.0, 1000.0),
        largest_tailstock_load=draw.quantity("force", 2.0, 500.0),
    )
    if draw.random.random() < 0.75:
        support = draw.optional(
            support,
            bearing_spacing=draw.quantity("length", 20e-3, 150e-3),
            largest_radial_load=draw.quantity("force", 40.0, 3000.0),
            largest_axial_load=draw.quantity("force", 100.0, 1500.0),
        )
    return support


def draw_machine(draw: Draw, part: Table, on_rollers: bool) -> Table:
    motor = draw_motor(draw)
    machine = {
        "version": 1,
        "name": "drawn machine",
        "motor": motor,
        "driver": draw_driver(draw, motor),
        "gearing": draw_gearing(draw),
        "drive": draw_rollers(draw, part) if on_rollers else draw_chuck(draw),
        "link": {"highest_step_rate": draw.quantity("rate", 3e3, 1e5)},
    }
    if draw.random.random() < 0.3:
        machine["swing"] = draw_swing(draw, motor)
    return machine if on_rollers else machine | {"support": draw_support(draw)}


def draw_swing(draw: Draw, motor: Table) -> Table:
    """As if measured: near what the bare rotor's spring gives with a few times its inertia."""
    stiffness, turning = 50 * si(motor["holding_torque"]) * 0.4, si(motor["rotor_inertia"]) * draw.between(1.5, 8.0)
    swing: Table = {}
    if draw.random.random() < 0.7:
        frequency = draw.text("rate", (stiffness / turning) ** 0.5 / 6.28)
        swing = draw.optional(
            {"frequency": frequency, "frequency_uncertainty": draw.between(0.01, 0.1)},
            load_inertia=draw.quantity("inertia", 1e-7, 1e-4),
            current=draw.text("current", si(motor["rated_current"]) * draw.between(0.4, 1.0)),
        )
    if draw.random.random() < 0.6:
        swing |= draw.optional({"damping_ratio": draw.between(0.02, 0.3)}, damping_uncertainty=draw.between(0.05, 0.4))
    return swing


def draw_part(draw: Draw, on_rollers: bool) -> Table:
    kind = draw.pick("solid", "tube", "cone", "stepped", "measured", "mesh")
    size, length = draw.between(12e-3, 140e-3), draw.between(20e-3, 400e-3)
    part: Table = {"kind": kind, "diameter": draw.text("length", size)}
    if kind != "stepped":
        part["length"] = draw.text("length", length)
    if kind == "mesh":
        part |= {"diameter": "40 mm", "length": "60 mm", "file": str(MESH)}
    draw_shape(draw, part, on_rollers)
    if kind == "measured":
        part["mass"] = draw.quantity("mass", 0.1, 8.0)
    else:
        draw_weight(draw, part)
    return draw.optional(
        part,
        mass_offset=draw.quantity("length", 2e-5, 8e-3),
        overhang=draw.text("length", length * draw.between(0.3, 0.6)),
    )


def draw_shape(draw: Draw, part: Table, on_rollers: bool) -> None:
    size = si(part["diameter"])
    if part["kind"] == "tube":
        part["inner_diameter"] = draw.text("length", size * draw.between(0.3, 0.97))
    elif part["kind"] == "cone":
        part |= {
            "large_diameter": draw.text("length", size * draw.between(1.01, 1.3)),
            "small_diameter": draw.text("length", size * draw.between(0.75, 0.99)),
        }
        draw_cone(draw, part, on_rollers)
    elif part["kind"] == "stepped":
        other = draw.text("length", size * draw.between(0.4, 1.5))
        part["cylinders"] = [
            {"diameter": part["diameter"], "length": draw.quantity("length", 20e-3, 200e-3)},
            {
                "diameter": other,
                "length": draw.quantity("length", 10e-3, 150e-3),
                "bore": draw.text("length", size * 0.2),
            },
        ]
        draw.optional(part, contact_diameter=other)
    elif part["kind"] == "measured":
        part["inertia"] = draw.quantity("inertia", 1e-5, 1e-2)


def draw_cone(draw: Draw, part: Table, on_rollers: bool) -> None:
    large, small, length = (si(part[key]) for key in ("large_diameter", "small_diameter", "length"))
    if draw.random.random() < 0.5:
        part["wall"] = draw.text("length", small * draw.between(0.01, 0.3))
    if on_rollers:
        first = length * draw.between(0.02, 0.4)
        places = [first, first + length * draw.between(0.05, 0.5)] if draw.random.random() < 0.4 else [first]
        part["contact_from"] = [draw.text("length", place) for place in places]
    elif draw.there():
        part["contact_diameter"] = draw.text("length", (large + small) / 2)


def draw_weight(draw: Draw, part: Table) -> None:
    """A density or a material, a weight, or both, the weight off by up to a fifth."""
    density = draw.between(900.0, 8500.0)
    about = density * 0.7 * si(part["diameter"]) ** 2 * si(part.get("length", "150 mm"))
    by = draw.random.random()
    if by < 0.75:
        part |= (
            {"density": draw.text("density", density)}
            if by < 0.5
            else {"material": draw.pick("steel", "brass", "aluminium")}
        )
    if by > 0.3:
        part["mass"] = draw.text("mass", about * draw.between(0.4, 1.2))


def draw_job(draw: Draw, part: Table) -> Table:
    window: Table = {"half_depth": draw.text("length", min(draw.between(6e-4, 5e-3), si(part["diameter"]) / 8))}
    if draw.random.random() < 0.2:
        beam = {
            "waist_diameter": draw.quantity("length", 2e-5, 1e-4),
            "wavelength": "1.064 um",
            "beam_quality": draw.between(1.05, 2.0),
        }
        window = {"beam": beam}
    window = draw.optional(
        window,
        focus=draw.pick("crown", "balanced"),
        incidence_limit=draw.quantity("angle", 0.3, 1.2),
        lens_field=draw.quantity("length", 20e-3, 150e-3),
        spot_diameter=draw.quantity("length", 2e-5, 2e-4),
    )
    mark: Table = {"angle": draw.pick("360 deg", "180 deg", "90 deg")}
    if draw.random.random() < 0.4:
        mark = {"arc": draw.text("length", si(part["diameter"]) * draw.between(0.3, 2.5))}
    mark = draw.optional(mark, width=draw.quantity("length", 5e-3, 60e-3), passes=draw.pick(1, 1, 3))
    if draw.random.random() < 0.5:
        mark["pass_time"] = draw.quantity("time", 0.05, 30.0)
    if draw.random.random() < 0.5:
        mark[draw.pick("start_edge", "start_angle")] = draw.quantity("angle", 0.05, 2.0)
    segments: Table = draw.pick({}, {"count": draw.random.randint(2, 24)}, {"angle": draw.quantity("angle", 0.1, 0.8)})
    return {
        "version": 1,
        "name": "drawn job",
        "machine": "drawn machine",
        "part": part,
        "mark": mark,
        "window": window,
        "segments": draw.optional(segments, diameter_uncertainty=draw.quantity("length", 1e-5, 3e-4)),
        "index": draw_index(draw),
        "gate": draw.pick({"kind": "operator"}, {"kind": "timed", "duration": draw.quantity("time", 0.1, 20.0)}),
    }


def draw_index(draw: Draw) -> Table:
    index = {
        "finish": draw.pick("stay", "unwind", "next-turn"),
        "approach": draw.pick("auto", "both-sides", "one-side"),
    }
    if draw.random.random() < 0.7:
        index |= {"speed": draw.quantity("speed", 0.3, 25.0), "acceleration": draw.quantity("acceleration", 0.5, 250.0)}
    if draw.random.random() < 0.2:
        index["settle"] = draw.quantity("time", 1e-3, 1.0)
    if draw.random.random() < 0.5:
        index["safety_factor"] = draw.between(1.0, 4.0)
    return index
