"""The single limits of an index move: each a function from load case and motion to checks.

A limit that doesn't concern a machine (grip on a chuck) gives no check; one whose data are missing says so.
"""

from __future__ import annotations

from collections.abc import Callable

from firmware_host.mechanics.train.transmission import inertia_ratio
from firmware_host.planning.index.caps import band_margin
from firmware_host.planning.limits.case import IndexExtremes
from firmware_host.planning.limits.report import LimitCheck, Verdict, not_known, upper_limit, verdict_of
from firmware_host.planning.load.case import LoadCase

LARGEST_INERTIA_RATIO = 10.0
LARGEST_MASS_DISAGREEMENT = 0.10

_NEWTON = "Newton's law through the gearing; safety factor 1.5 to 2 in handbooks"
_RATE = "the data of the driver and of the controller"


def torque_checks(load: LoadCase, index: IndexExtremes) -> tuple[LimitCheck, ...]:
    """Torque while speeding up, while braking, and its peak, against the least pull-out torque up to the peak speed."""
    needed = load.torque(index.acceleration)
    peak = max(
        float(load.torque(index.peak_pushing * index.acceleration).accelerating),
        float(load.torque(index.peak_holding * index.acceleration).braking),
    )
    share = f"least pull-out torque up to the peak speed / {load.safety_factor:g}"
    load_torque = "(J*alpha + T_friction + m*g*e)"
    rows = (
        (
            "torque-accelerating",
            float(needed.accelerating),
            load.safety_factor,
            f"J_m*alpha_m + {load_torque}/(n*eta) <= {share}",
            _NEWTON,
        ),
        (
            "torque-braking",
            float(needed.braking),
            load.safety_factor,
            f"J_m*alpha_m + (J*alpha - T_friction + m*g*e)*eta/n <= {share}",
            _NEWTON,
        ),
        (
            "torque-peak",
            peak,
            1.0,
            f"the same with {index.peak_pushing:.3g}*alpha speeding up and {index.peak_holding:.3g}*alpha braking, "
            "as the rotor swings on its magnetic spring <= least pull-out torque up to the peak speed",
            "step response of the oscillator, the ramp reversed in the worst phase of a band of natural frequencies",
        ),
    )
    if not load.pull_out_known:
        missing = ("motor.torque_curve, or motor.resistance and motor.inductance",)
        return tuple(
            not_known(name, "N*m", formula=formula, source=source, missing=missing, value=value)
            for name, value, _, formula, source in rows
        )
    pull_out = load.lowest_pull_out(index.peak_speed)
    return tuple(
        upper_limit(
            name,
            value,
            pull_out / factor,
            "N*m",
            formula=formula,
            source=source,
            remedy="Lower index.acceleration or index.speed, gear down, or take a stronger motor",
            missing=load.missing.for_torque,
        )
        for name, value, factor, formula, source in rows
    )


def holding_check(load: LoadCase, index: IndexExtremes) -> tuple[LimitCheck, ...]:
    """Torque of the imbalance at rest against the torque the motor holds with at its standstill current."""
    del index
    return (
        upper_limit(
            "holding-torque",
            load.imbalance_torque / load.ratio,
            load.standstill_torque / load.safety_factor,
            "N*m",
            formula=f"m*g*e/n <= k_T*I_standstill / {load.safety_factor:g}, k_T = T_hold/(sqrt(2)*I_rated)",
            source="statics at the worst angle; no help from friction or a self-locking stage is counted",
            remedy="Balance the part, raise the standstill current, or gear down",
            missing=load.missing.imbalance,
        ),
    )


def rate_checks(load: LoadCase, index: IndexExtremes) -> tuple[LimitCheck, ...]:
    """Step rate at the peak speed against driver and controller, and the pulse against half the step's period."""
    rate = float(load.step_rate(index.peak_speed))
    remedy = "Lower index.speed or the microsteps"
    formula = "speed*n*N*M/(2*pi) <= highest step rate"
    checks = [
        upper_limit(name, rate, limit, "Hz", formula=formula, source=_RATE, remedy=remedy)
        for name, limit in (
            ("step-rate-driver", load.driver_step_rate),
            ("step-rate-controller", load.controller_step_rate),
        )
    ]
    pulse_formula, pulse_source = "pulse <= 1/(2*step rate)", "the driver's data; as long low as high (common practice)"
    if load.smallest_pulse is None:
        missing = ("driver.smallest_pulse",)
        checks.append(not_known("step-pulse", "s", formula=pulse_formula, source=pulse_source, missing=missing))
    else:
        checks.append(
            upper_limit(
                "step-pulse",
                load.smallest_pulse,
                1 / (2 * rate),
                "s",
                formula=pulse_formula,
                source=pulse_source,
                remedy=remedy,
            )
        )
    return tuple(checks)


def inertia_check(load: LoadCase, index: IndexExtremes) -> tuple[LimitCheck, ...]:
    """Reflected inertia over the rotor's own."""
    del index
    return (
        upper_limit(
            "inertia-ratio",
            inertia_ratio(load.reflected_inertia, load.rotor_inertia),
            LARGEST_INERTIA_RATIO,
            "",
            formula="(sum of J/n^2)/J_rotor <= 10, a rule of thumb",
            source='Machine Design, "Stepping up success with proper motor sizing", 2001',
            remedy="Gear down further, or take a motor with a heavier rotor",
            missing=load.missing.inertia,
        ),
    )


def mass_check(load: LoadCase, index: IndexExtremes) -> tuple[LimitCheck, ...]:
    """Density times volume against the weighed mass, where both are given."""
    del index
    if load.mass_disagreement is None:
        return ()
    return (
        upper_limit(
            "mass",
            abs(load.mass_disagreement),
            LARGEST_MASS_DISAGREEMENT,
            "",
            formula="|density*volume - weighed|/weighed <= 0.1",
            source=f"common practice, no source; density: {load.density_source}",
            remedy="Check the part's dimensions and density; the weighed mass is the one used",
        ),
    )


def resonance_check(load: LoadCase, index: IndexExtremes) -> tuple[LimitCheck, ...]:
    """Full-step rate of the cruise beside the bands that excite the natural frequency and its half and third.

    In a band it fails with full or half steps; finer microsteps excite much less, so there it holds narrowly (common
    practice, no source). Moves too short to cruise only pass through.
    """
    formula = "full steps/s outside f_n/k*(1 -+ zeta), k = 1, 2, 3; f_n = sqrt(p*T_h/J)/(2*pi), zeta = 0.1"
    source = "half-power band of the driven oscillator; damping ratio from memory, until measured"
    rate = float(load.step_rate(index.peak_speed)) / load.microsteps
    margin, edge = (float(part) for part in band_margin(load, index.peak_speed))
    verdict = verdict_of(margin)
    if verdict is Verdict.FAILS and load.microsteps > 2:
        verdict = Verdict.NARROW
    if not index.cruises:
        verdict = Verdict.HOLDS
    if load.missing.inertia and verdict is not Verdict.FAILS:
        missing = load.missing.inertia
        return (not_known("resonance", "Hz", formula=formula, source=source, missing=missing, value=rate),)
    remedy = f"Cruise well away from {edge:.4g} full steps/s"
    return (LimitCheck("resonance", rate, edge, "Hz", margin, verdict, formula, source, remedy),)


CHECKS: tuple[Callable[[LoadCase, IndexExtremes], tuple[LimitCheck, ...]], ...] = (
    torque_checks,
    holding_check,
    rate_checks,
    inertia_check,
    resonance_check,
    mass_check,
)
"""Every check that a load case and a motion suffice for, in the order they are shown."""
