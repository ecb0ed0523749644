"""All recomputed limits by the name that the program shows them under."""

from __future__ import annotations

from collections.abc import Callable

from tests.independent.recompute import bearings, motor, rolling
from tests.independent.recompute.facts import Facts
from tests.independent.recompute.verdict import Found

RECOMPUTED: dict[str, Callable[[Facts], Found | None]] = {
    "torque-accelerating": motor.torque_accelerating,
    "torque-braking": motor.torque_braking,
    "holding-torque": motor.holding_torque,
    "step-rate-driver": motor.step_rate_driver,
    "step-rate-controller": motor.step_rate_controller,
    "step-pulse": motor.step_pulse,
    "inertia-ratio": motor.inertia_ratio,
    "resonance": motor.resonance,
    "mass": bearings.mass,
    "falls-through": rolling.falls_through,
    "grip": rolling.grip,
    "seating": rolling.seating,
    "creep": rolling.creep,
    "axial-walk": rolling.axial_walk,
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
    **dict.fromkeys(
        ("grip-range", "motor-shaft-load", "roller-bearing-load", "worm-thrust"), "28 November: just added"
    ),
    **dict.fromkeys(("axial-slide", "steady-rest-load"), "28 November: just added"),
    "torque-peak": "28 November: the ringing is being made exact",
    "grip-peak": "28 November: the ringing is being made exact",
    "seating-peak": "28 November: the ringing is being made exact",
}
"""Limits without a recomputation, with the day and the reason; to be empty."""
