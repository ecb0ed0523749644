"""All recomputed limits by the name that the program shows them under."""

from __future__ import annotations

from collections.abc import Callable

from tests.independent.recompute import bearings, motor, rolling, shafts, swinging, torsion
from tests.independent.recompute.facts import Facts
from tests.independent.recompute.swinging import on_the_safe_side
from tests.independent.recompute.verdict import Found

RECOMPUTED: dict[str, Callable[[Facts], Found | None]] = {
    "torque-accelerating": motor.torque_accelerating,
    "torque-braking": motor.torque_braking,
    "holding-torque": motor.holding_torque,
    "step-rate-driver": motor.step_rate_driver,
    "step-rate-controller": motor.step_rate_controller,
    "step-pulse": motor.step_pulse,
    "measured-ramp": motor.measured_ramp,
    "inertia-ratio": motor.inertia_ratio,
    "resonance": torsion.resonance,
    "mid-range": torsion.mid_range,
    "twist": torsion.twist,
    "mass": bearings.mass,
    "falls-through": rolling.falls_through,
    "grip": rolling.grip,
    "seating": rolling.seating,
    "creep": rolling.creep,
    "axial-walk": rolling.axial_walk,
    "torque-peak": on_the_safe_side(swinging.torque_peak),
    "grip-peak": on_the_safe_side(swinging.grip_peak),
    "seating-peak": on_the_safe_side(swinging.seating_peak),
    "axial-slide": rolling.axial_slide,
    "grip-range": bearings.grip_range,
    "steady-rest-load": bearings.steady_rest_load,
    "motor-shaft-load": on_the_safe_side(shafts.motor_shaft_load),
    "roller-bearing-load": on_the_safe_side(shafts.roller_bearing_load),
    "worm-thrust": on_the_safe_side(shafts.worm_thrust),
    "overhang": bearings.overhang,
    "radial-load": bearings.radial_load,
    "axial-load": bearings.axial_load,
    "tailstock-load": bearings.tailstock_load,
    "unsupported-length": bearings.unsupported_length,
    "power-off": bearings.power_off,
    "heat-holding": motor.heat_holding,
    "heat-cycle": motor.heat_cycle,
    "supply-current": motor.supply_current,
    "supply-voltage": motor.supply_voltage,
}

NOT_YET_RECOMPUTED: dict[str, str] = {
    "start-jump": "29 November: no pair has a jump yet; its formula is checked by the integrated equation of motion",
}
"""Limits without a recomputation, with the day and the reason; to be empty."""
