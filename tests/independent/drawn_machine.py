"""Draws a machine: all drives, no to three stages, every optional key."""

from __future__ import annotations

from tests.independent.drawing import Draw, Table, draw_tolerances
from tests.independent.values import contact, si


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
        **steps,
    }
    motor = draw.optional(
        motor,
        rotor_inertia=draw.text("inertia", torque * draw.between(1e-5, 6e-5)),
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
        frame=draw.pick("NEMA 14", "NEMA 17", "42 mm", "NEMA 23", "NEMA 34"),
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
    if draw.there():
        stage |= draw_wheels(draw, kind)
    else:
        del stage["kind"]
        if stage.get("driving_teeth") == 1:  # only a worm has one start
            stage["driving_teeth"] = 2
    stage = draw.optional(
        stage,
        efficiency=draw.between(0.25, 0.6) if kind == "worm" else draw.between(0.9, 0.99),
        lost_motion=draw.quantity("angle", 1e-4, 2e-2),
        driving_inertia=draw.quantity("inertia", 5e-7, 2e-5),
        driven_inertia=draw.quantity("inertia", 5e-7, 3e-4),
        self_locking=kind == "worm" and draw.random.random() < 0.7,
    )
    if kind in ("toothed-belt", "spur-gears") and not stage.keys() >= {"driving_inertia", "driven_inertia"}:
        stage["width"] = draw.quantity("length", 5e-3, 30e-3)
    return stage


def draw_wheels(draw: Draw, kind: str) -> Table:
    """What its shafts are pushed with: by the diameter or the pitch of its wheels."""
    by_pitch = draw.random.random() < 0.5
    diameter, pitch = draw.quantity("length", 8e-3, 60e-3), draw.quantity("length", 2e-3, 8e-3)
    if kind == "coupling":
        return draw.optional({}, torsional_stiffness=draw.quantity("stiffness", 2.0, 2e4))
    if kind == "toothed-belt":
        stiffness = draw.quantity("stiffness", 2.0, 2e4)
        tension = draw.quantity("force", 10.0, 200.0)
        return draw.optional(
            {"pitch": pitch} if by_pitch else {"driving_diameter": diameter},
            belt_tension=tension,
            torsional_stiffness=stiffness,
        )
    if kind == "spur-gears":
        return {"pitch": pitch} if by_pitch else {"driving_diameter": diameter}
    if kind == "worm":
        return draw.optional(
            {}, pitch=pitch, driving_diameter=diameter, largest_axial_load=draw.quantity("force", 10.0, 800.0)
        )
    return {}


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
    }
    if draw.random.random() < 0.75:
        rollers["friction"] = draw.between(0.12, 0.9)
    else:
        rollers["surfaces"] = draw.pick("steel_on_steel", "plastic_on_steel")
    rollers = draw.optional(
        rollers,
        roller_inertia=draw.quantity("inertia", 5e-7, 4e-5),
        largest_bearing_load=draw.quantity("force", 3.0, 300.0),
        busiest_share=draw.between(2 / rollers["rollers"], 1.0) if rollers["rollers"] > 2 else 1.0,
        roller_diameter_uncertainty=draw.quantity("length", 1e-5, 2e-4),
        rolling_resistance=draw.quantity("length", 5e-5, 2e-3),
        slip=draw.between(1e-6, 1e-2) if draw.random.random() < 0.3 else None,
        friction_torque=draw.quantity("torque", 1e-3, 3e-2),
        idle_friction_torque=draw.quantity("torque", 1e-4, 3e-3),
        contact_width=draw.quantity("length", 1e-4, 2e-3),
        axial_stop=draw.random.random() < 0.3,
    )
    if rollers.get("axial_stop") and round(roller * 1e6) % 3:  # nothing drawn: the pairs stay what they were
        rollers["stop_friction_torque"] = f"{roller * 0.2:.5g} N*m"
    if "roller_inertia" in rollers:
        return rollers
    return draw.optional(rollers, roller_length=draw.quantity("length", 30e-3, 300e-3))


def draw_rest(draw: Draw, part: Table) -> Table:
    lengths = [si(each["length"]) for each in part.get("cylinders", [part])]
    rest = {"position": draw.text("length", sum(lengths) * draw.between(0.3, 0.9))}
    return draw.optional(
        rest, friction_torque=draw.quantity("torque", 1e-3, 5e-2), largest_load=draw.quantity("force", 2.0, 300.0)
    )


def draw_support(draw: Draw, geared: bool) -> Table:
    tailstock = draw.random.random() < (0.35 if geared else 0.6)
    support = draw.optional(
        {"tailstock": tailstock},
        friction_torque=draw.quantity("torque", 1e-3, 5e-2),
        motor_shaft_arm=draw.quantity("length", 5e-3, 40e-3),
        overhang_base=draw.quantity("length", 10e-3, 80e-3),
        largest_overhang_moment=draw.quantity("torque", 0.5, 60.0),
        tailstock_force=draw.quantity("force", 20.0, 1000.0),
        largest_tailstock_load=draw.quantity("force", 2.0, 500.0),
    )
    if draw.random.random() < (0.85 if geared else 0.3):
        support = draw.optional(
            support,
            bearing_spacing=draw.quantity("length", 20e-3, 150e-3),
            largest_radial_load=draw.quantity("force", 40.0, 3000.0),
            largest_axial_load=draw.quantity("force", 100.0, 1500.0),
        )
    return support


def draw_machine(draw: Draw, part: Table, on_rollers: bool) -> Table:
    motor, gearing = draw_motor(draw), draw_gearing(draw)
    machine = {
        "version": 1,
        "name": "drawn machine",
        "motor": motor,
        "driver": draw_driver(draw, motor),
        "gearing": gearing,
        "drive": draw_rollers(draw, part) if on_rollers else draw_chuck(draw),
        "axis": draw_axis(draw, on_rollers),
        "tolerances": draw_tolerances(draw, part, on_rollers=on_rollers, geared=bool(gearing)),
        "link": {"highest_step_rate": draw.quantity("rate", 3e3, 1e5)},
    }
    if draw.random.random() < 0.3:
        machine["swing"] = draw_swing(draw, motor)
    if on_rollers:
        return machine | {"support": draw.optional({}, motor_shaft_arm=draw.quantity("length", 5e-3, 40e-3))}
    support = draw_support(draw, bool(gearing))
    if draw.random.random() < 0.2:
        support["steady_rest"] = draw_rest(draw, part)
    return machine | {"support": support}


def draw_swing(draw: Draw, motor: Table) -> Table:
    """As if measured: near what the bare rotor's spring gives with a few times a usual inertia."""
    stiffness = 50 * si(motor["holding_torque"]) * 0.4
    turning = si(motor["holding_torque"]) * 3e-5 * draw.between(1.5, 8.0)
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


def draw_ramp(draw: Draw) -> Table:
    """As if tried, near what a usual motor makes of a usual load."""
    return draw.optional(
        {"acceleration": draw.quantity("acceleration", 3.0, 3000.0),
         "speed": draw.quantity("speed", 0.5, 100.0)},
        load_inertia=draw.quantity("inertia", 1e-7, 1e-2),
    )  # fmt: skip


def draw_warming(draw: Draw) -> Table:
    """As if measured: a motor mounted well or badly, and quicker to warm than most."""
    return draw.optional(
        {"thermal_resistance": draw.quantity("thermal", 1.0, 10.0)}, time_constant=draw.quantity("time", 1.0, 1800.0)
    )


def draw_axis(draw: Draw, on_rollers: bool) -> Table:
    axis: Table = {"letter": draw.pick("A", "B"), "unit": "mm" if on_rollers and draw.random.random() < 0.3 else "deg"}
    if draw.random.random() < 0.2:
        axis["travel"] = {
            "lowest": draw.text("angle", -draw.between(0.1, 10.0)),
            "highest": draw.quantity("angle", 1.0, 20.0),
        }
    if draw.random.random() < 0.25:
        axis["tilt"] = draw.quantity("angle", 0.05, 0.6 if on_rollers else 1.5)
    return draw.optional(axis, home_switch=draw.pick(True, False), unwind=draw.pick("whole-turns", "never"))
