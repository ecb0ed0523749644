"""How large each value of a file can be, and how large it usually is: one row for each quantity.

The bounds are wide on purpose: outside the outer ones no machine of this kind is, and the file is refused; between the
outer and the inner ones hardly one is, and the value is remarked on. Zero, where a key allows it, is never remarked on.
"""

from __future__ import annotations

from typing import NamedTuple

PRACTICE = "common practice, no source"
CATALOGUE = "as catalogues of stepper motors and drivers have it, from memory"
TRADE = "as lasers and lenses for marking are sold, from memory"


class Range(NamedTuple):
    """What the keys may hold, counted in `unit` ("" for a plain number), by size whatever the sign.

    `least` and `most`: what lies beyond cannot be. `low` and `high`: what lies beyond is hardly ever so. `source`:
    where the bounds are from; `hint`: what else than the unit may have been confused.
    """

    keys: tuple[str, ...]
    unit: str
    least: float
    low: float
    high: float
    most: float
    source: str = PRACTICE
    hint: str = ""


_PART_SIZES = ("diameter", "contact_diameter", "large_diameter", "small_diameter", "inner_diameter")
_BODY_SIZES = ("across", "along", "outward", "diameter", "length", "distance")

RANGES: tuple[Range, ...] = (
    # --- the part
    Range(
        tuple(f"part.{key}" for key in (*_PART_SIZES, "cylinders.diameter", "cylinders.bore")), "mm", 0.1, 0.5, 1e3, 5e3
    ),
    Range(("part.circumference",), "mm", 0.3, 1.5, 3e3, 15e3),
    Range(("part.length", "part.cylinders.length"), "mm", 0.05, 0.5, 3e3, 20e3),
    Range(("part.overhang", "part.contact_from", "support.steady_rest.position"), "mm", 0.01, 0.1, 3e3, 20e3),
    Range(tuple(f"part.bodies.{key}" for key in _BODY_SIZES), "mm", 0.01, 0.1, 1e3, 10e3),
    Range(("part.wall",), "mm", 0.005, 0.05, 200, 1e3),
    Range(("part.mass_offset",), "mm", 1e-5, 1e-4, 100, 1e3),
    Range(("part.mass", "part.bodies.mass"), "kg", 1e-6, 1e-4, 500, 5e3),
    Range(
        ("part.density", "part.bodies.density"),
        "kg/m^3",
        10,
        80,
        20e3,
        25e3,
        "from plastic foam to the densest metals, from memory",
    ),
    Range(("part.inertia",), "kg*m^2", 1e-13, 1e-10, 20, 1e4),
    # --- the mark and how it is run
    Range(("mark.arc", "mark.width", "mark.gaps.at"), "mm", 1e-3, 0.01, 3e3, 20e3),
    Range(("mark.gaps.width",), "mm", 1e-4, 1e-3, 300, 5e3),
    Range(("mark.pass_time", "gate.duration"), "s", 1e-3, 0.02, 4 * 3600, 30 * 86400),
    Range(("gate.timeout", "gate.connect"), "s", 1e-3, 0.02, 86400, 365 * 86400),
    Range(("gate.debounce",), "s", 1e-6, 1e-4, 1, 3600),
    Range(("index.settle",), "s", 1e-6, 1e-4, 10, 600),
    Range(("index.speed", "link.stated.rate", "link.stated.start_jump", "ramp.speed"), "deg/s", 1e-4, 0.05, 7200, 1e6),
    Range(("index.acceleration", "link.stated.acceleration", "ramp.acceleration"), "deg/s^2", 1e-3, 0.5, 5e5, 1e9),
    Range(("segments.angle",), "deg", 1e-6, 1e-4, 360, 1e6),
    Range(
        ("segments.diameter_uncertainty", "drive.roller_diameter_uncertainty"), "mm", 1e-6, 1e-4, 5, 500
    ),
    Range(("mark.passes",), "", 1, 1, 200, 1000),
    # --- the window
    Range(("window.half_depth",), "mm", 1e-4, 0.005, 10, 100, TRADE),
    Range(("window.spot_diameter", "window.beam.waist_diameter"), "um", 0.2, 3, 1000, 10e3, TRADE),
    Range(("window.beam.wavelength",), "nm", 100, 190, 11e3, 20e3, TRADE),
    Range(("window.beam.beam_quality",), "", 1, 1, 30, 100, TRADE),
    Range(("window.lens_field",), "mm", 1, 10, 1e3, 5e3, TRADE),
    Range(("window.focal_length",), "mm", 1, 20, 1500, 10e3, TRADE),
    Range(("window.incidence_limit",), "deg", 1, 5, 89, 90, TRADE),
    # --- the motor
    Range(("motor.rated_current", "driver.current", "driver.highest_current", "motor.torque_curve.current",
           "swing.current"), "A", 0.005, 0.05, 20, 100, CATALOGUE),
    Range(("motor.holding_torque",), "N*m", 5e-4, 3e-3, 50, 500, CATALOGUE),
    Range(("motor.torque_curve.points.torque",), "N*m", 1e-6, 1e-4, 50, 500, CATALOGUE),
    Range(("motor.detent_torque",), "N*m", 1e-6, 1e-4, 5, 50, CATALOGUE),
    Range(("motor.rotor_inertia",), "g*cm^2", 0.05, 0.5, 50e3, 1e6, CATALOGUE),
    Range(("motor.resistance",), "ohm", 1e-3, 0.05, 150, 2e3, CATALOGUE),
    Range(("motor.inductance",), "mH", 1e-3, 0.05, 400, 2e3, CATALOGUE),
    Range(("motor.step_angle",), "deg", 0.05, 0.3, 20, 90, CATALOGUE),
    Range(("motor.full_steps_per_revolution",), "", 4, 20, 1000, 2000, CATALOGUE,
          "Microsteps are not counted in: driver.microsteps says them"),
    Range(("motor.torque_curve.points.speed",), "rpm", 1e-3, 0.05, 6e3, 1e5, CATALOGUE),
    Range(("motor.iron_loss_speed",), "rpm", 0.1, 10, 2e4, 1e6),
    Range(("motor.radial_load", "motor.axial_load"), "N", 0.05, 1, 5e3, 1e5, CATALOGUE),
    Range(("motor.radial_load_at", "support.motor_shaft_arm"), "mm", 0.05, 0.5, 150, 1e3, CATALOGUE),
    Range(("motor.thermal_resistance", "warming.thermal_resistance"), "K/W", 0.01, 0.2, 60, 1e3, CATALOGUE),
    Range(("motor.highest_temperature",), "degC", 25, 50, 220, 500, CATALOGUE),
    Range(("motor.ambient",), "degC", 0, 0, 70, 150),
    # --- the driver and the link
    Range(("driver.supply_voltage", "driver.highest_supply_voltage", "motor.torque_curve.supply_voltage"), "V", 1, 4,
          150, 1e3, CATALOGUE),
    Range(("driver.highest_step_rate", "link.highest_step_rate"), "kHz", 0.05, 0.5, 2e4, 1e6, CATALOGUE),
    Range(("driver.smallest_pulse",), "us", 1e-3, 0.01, 100, 5e3, CATALOGUE),
    Range(("driver.supply_capacitance",), "uF", 0.05, 1, 5e5, 1e8),
    Range(("driver.supply_current",), "A", 0.01, 0.2, 100, 2e3),
    Range(("driver.standstill_current",), "", 0, 0.05, 1, 1),
    Range(("link.stated.second_step_after",), "s", 1e-6, 1e-5, 0.1, 1),
    Range(("motor.start_stop_rate",), "Hz", 1, 50, 5e3, 1e5, CATALOGUE),
    Range(("link.reset_wait",), "s", 1e-6, 1e-3, 60, 3600),
    # --- the gearing
    Range(("gearing.pitch",), "mm", 0.05, 0.3, 40, 1e3, "belts and gears of the trade, from memory"),
    Range(("gearing.driving_diameter",), "mm", 0.5, 2, 400, 5e3),
    Range(("gearing.width",), "mm", 0.1, 1, 200, 2e3),
    Range(("gearing.driving_teeth", "gearing.driven_teeth"), "", 1, 1, 1000, 10_000),
    Range(("gearing.efficiency",), "", 1e-3, 0.15, 1, 1, PRACTICE, "It is a part of one: 0.95, not 95 or 0.0095"),
    Range(("gearing.lost_motion",), "deg", 1e-7, 1e-5, 3, 90),
    Range(("gearing.driving_inertia", "gearing.driven_inertia", "drive.roller_inertia", "drive.inertia",
           "swing.load_inertia", "ramp.load_inertia"), "kg*m^2", 1e-13, 1e-10, 20, 1e4),
    Range(("gearing.belt_tension",), "N", 0.01, 0.5, 2e3, 1e5),
    Range(("gearing.torsional_stiffness",), "N*m/rad", 1e-4, 0.05, 1e7, 1e10),
    # --- the drive
    Range(("drive.roller_diameter",), "mm", 0.5, 3, 300, 2e3),
    Range(("drive.centre_distance",), "mm", 0.5, 3, 1e3, 10e3),
    Range(("drive.roller_length",), "mm", 0.5, 2, 3e3, 20e3),
    Range(("drive.contact_width",), "mm", 1e-3, 0.01, 30, 300),
    Range(("drive.rolling_resistance",), "mm", 1e-6, 1e-4, 5, 50, "from hard steel to soft rubber, from memory"),
    Range(("drive.friction",), "", 1e-3, 0.03, 1.3, 2, "from oiled steel to rubber, from memory"),
    Range(("drive.mass",), "kg", 1e-4, 5e-3, 300, 5e3),
    Range(("drive.smallest_grip", "drive.largest_grip"), "mm", 0.01, 0.1, 1500, 10e3),
    Range(("drive.friction_torque", "drive.idle_friction_torque", "drive.stop_friction_torque",
           "support.friction_torque", "support.steady_rest.friction_torque"), "N*m", 1e-9, 1e-6, 30, 1e3),
    Range(("drive.largest_bearing_load", "gearing.largest_axial_load", "support.largest_axial_load",
           "support.largest_radial_load", "support.largest_tailstock_load", "support.steady_rest.largest_load",
           "support.tailstock_force"), "N", 0.01, 1, 1e5, 1e7),
    Range(("support.largest_overhang_moment",), "N*m", 1e-4, 0.01, 1e4, 1e6),
    Range(("support.bearing_spacing", "support.overhang_base"), "mm", 0.1, 1, 1e3, 10e3),
    # --- as measured
    Range(("swing.frequency",), "Hz", 0.05, 0.5, 3e3, 1e5),
    Range(("warming.time_constant",), "s", 1, 30, 4 * 3600, 86400),
)  # fmt: skip

#: Rates that serial ports are set to; any other is hardly ever meant (common practice, no source).
USUAL_BAUD = (9600, 14400, 19200, 28800, 38400, 56000, 57600, 76800, 115200, 128000, 230400, 250000, 256000, 460800,
              500000, 576000, 921600, 1000000, 1500000, 2000000, 3000000, 4000000)  # fmt: skip

#: Units in which a number may have been meant, the most usual first.
OTHER_UNITS = {
    "length": ("mm", "m", "um", "nm", "cm", "in"),
    "mass": ("kg", "g", "lb"),
    "density": ("kg/m^3", "g/cm^3"),
    "force": ("N", "kN", "lbf"),
    "torque": ("N*m", "N*cm", "N*mm"),
    "inertia": ("g*cm^2", "kg*cm^2", "g*mm^2", "kg*mm^2", "kg*m^2"),
    "angle": ("deg", "rad", "arcmin", "arcsec"),
    "angular speed": ("rpm", "deg/s", "rad/s", "turn/s"),
    "angular acceleration": ("deg/s^2", "rad/s^2", "turn/s^2"),
    "time": ("s", "ms", "us", "ns", "min"),
    "rate": ("Hz", "kHz", "MHz"),
    "current": ("A", "mA"),
    "voltage": ("V", "mV"),
    "resistance": ("ohm", "mohm"),
    "inductance": ("mH", "uH", "H"),
    "capacitance": ("uF", "nF", "mF", "F"),
    "torsional stiffness": ("N*m/rad", "N*mm/rad", "N*m/deg"),
}
