"""Limits of heat and supply: how warm the motor gets, what it draws, and what braking sends back."""

from __future__ import annotations

from firmware_host.mechanics.motor.heat import cycle_loss, sine_copper_loss, winding_rise
from firmware_host.mechanics.motor.supply import charged_voltage, supply_current
from firmware_host.model.job.gate import TimedGateOptions
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.report import LimitCheck, not_known, upper_limit

_HEAT_SOURCE = "thermal equivalent circuit, copper at 3.93e-3/K (IEC 60028); iron losses left out"


def heat_checks(case: LimitCase) -> tuple[LimitCheck, ...]:
    """Winding's rise over the hottest air: held for ever, and over cycles of move and pass.

    The cycle is that of the longest index, which moves for the largest share. A gate that says how long a pass takes
    counts as holding; for any other no pause at all is counted, the hottest case.
    """
    motor = case.machine.motor
    names = ("resistance", "thermal_resistance", "highest_temperature", "ambient")
    resistance, thermal, highest, ambient = (getattr(motor, name) for name in names)
    formulas = {
        "heat-holding": "rise = R_th*P_cu(1 + 3.93e-3*(T - 20)) <= highest - ambient, P_cu = I_standstill^2*R",
        "heat-cycle": "the same with P_cu over index and pass, I^2*R moving and I_standstill^2*R holding",
    }
    missing = tuple(f"motor.{name}" for name in names if getattr(motor, name) is None)
    if missing:
        return tuple(
            not_known(name, "K", formula=formula, source=_HEAT_SOURCE, missing=missing)
            for name, formula in formulas.items()
        )
    driver = case.machine.driver
    moving = sine_copper_loss(driver.current.si, resistance.si)
    holding = sine_copper_loss(driver.current.si * driver.standstill_current, resistance.si)
    losses = {
        "heat-holding": holding,
        "heat-cycle": cycle_loss(moving, case.index.duration, holding, _holding_time(case)),
    }
    return tuple(
        upper_limit(
            name,
            winding_rise(losses[name], thermal.si, ambient.si),
            highest.si - ambient.si,
            "K",
            formula=formula,
            source=_HEAT_SOURCE,
            remedy="Lower driver.current or driver.standstill_current, cool the motor, or take a larger one",
        )
        for name, formula in formulas.items()
    )


def _holding_time(case: LimitCase) -> float:
    """Time (s) that the axis is known to stand between two indexes."""
    gate, settle = case.job.gate, case.job.index.settle
    passes = gate.duration.si * case.job.mark.passes if isinstance(gate, TimedGateOptions) else 0.0
    return passes + (settle.si if settle is not None else 0.0)


def supply_checks(case: LimitCase) -> tuple[LimitCheck, ...]:
    """Current drawn at the peak speed's worst, and the energy that a stop from it sends back to the supply."""
    return (_current_check(case), _voltage_check(case))


def _current_check(case: LimitCase) -> LimitCheck:
    driver, load, index = case.machine.driver, case.load, case.index
    formula = "(T*omega + I^2*R)/V <= supply_current, at the peak speed, speeding up"
    source = "power balance; losses of driver and iron left out"
    resistance, rated = case.machine.motor.resistance, driver.supply_current
    wanted = {"motor.resistance": resistance, "driver.supply_current": rated}
    if resistance is None or rated is None:
        missing = tuple(key for key, value in wanted.items() if value is None)
        return not_known("supply-current", "A", formula=formula, source=source, missing=missing)
    return upper_limit(
        "supply-current",
        supply_current(
            float(load.torque(index.acceleration).accelerating),
            index.peak_speed * load.ratio,
            sine_copper_loss(load.current, resistance.si),
            load.supply_voltage,
        ),
        rated.si,
        "A",
        formula=formula,
        source=source,
        remedy="Take a stronger supply, or lower index.speed or driver.current",
        missing=load.missing.for_torque,
    )


def _voltage_check(case: LimitCase) -> LimitCheck:
    driver, load, index = case.machine.driver, case.load, case.index
    formula = "J*omega^2/2 + 2*m*g*e <= C*(highest_supply_voltage^2 - V^2)/2"
    source = "energy balance of the supply's capacitor, nothing lost on the way: an upper bound"
    capacitance, room = driver.supply_capacitance, load.supply.braking_room
    if capacitance is None or room is None:
        wanted = {
            "driver.supply_capacitance": capacitance,
            "driver.highest_supply_voltage": driver.highest_supply_voltage,
        }
        missing = tuple(key for key, value in wanted.items() if value is None)
        return not_known("supply-voltage", "J", formula=formula, source=source, missing=missing)
    energy = load.braking_energy(index.peak_speed)
    charged = charged_voltage(energy, load.supply_voltage, capacitance.si)
    return upper_limit(
        "supply-voltage",
        energy,
        room,
        "J",
        formula=f"{formula} -> at most {charged:.4g} V",
        source=source,
        remedy="Add capacitance or a brake resistor at the supply, or lower index.speed",
        missing=load.missing.inertia + load.missing.imbalance,
    )
