"""Limits of a part on rollers: it stays in the trough, keeps its grip, creeps and walks little."""

from __future__ import annotations

import math

from firmware_host.mechanics.contact.creep import creep_ratio, walk_per_turn
from firmware_host.mechanics.contact.rollers import Trough, friction_needed, normal_at_rest, smallest_normal, unevenness
from firmware_host.model.machine.drive import Rollers
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.report import LimitCheck, Verdict, not_known, upper_limit
from firmware_host.planning.load.case import LoadCase

_SEAM = "half the spot, at one seam (common practice)"


def trough_check(case: LimitCase) -> tuple[LimitCheck, ...]:
    """Distance of the rows against the widest that the part, where it is thinnest, does not fall through."""
    trough = case.load.trough
    if trough is None:
        return ()
    return (
        upper_limit(
            "falls-through",
            trough.centre_distance,
            case.job.part.contact.si * (1 - float(case.job.part.contact_spread)) + trough.roller_diameter,
            "m",
            formula="centre distance <= thinnest contact diameter + roller diameter",
            source="triangle of the three centres",
            remedy="Move the rows closer together",
        ),
    )


def grip_checks(case: LimitCase) -> tuple[LimitCheck, ...]:
    """The friction the driven contacts need, and the share of its resting normal force a row loses; both at the peak.

    Steadily, and as the part swings with the rotor on its magnetic spring. Only what its inertia takes swings: rolling
    friction and gravity on an imbalance don't change with it. While braking rolling friction helps.
    """
    load, index = case.load, case.index
    if load.trough is None or load.friction is None:
        return ()
    missing = load.missing.friction + load.missing.imbalance
    source = "plane equilibrium of the part on its rollers, both directions, up and down the ramp"
    steady = _grip_pair(
        case,
        index.acceleration,
        index.acceleration,
        names=("grip", "seating"),
        formulas=(
            "F/N at the driven rollers <= friction; r*F = J*alpha + idle rollers + rolling friction + m*g*e",
            "1 - N_min/N_rest <= 1, N_rest = m*g/(2*cos(beta)); above 1 the part climbs out",
        ),
        sources=(f"{source}; {load.friction_source}", source),
        missing=missing,
    )
    swinging = f"with {index.peak_pushing:.3g}*alpha speeding up and {index.peak_holding:.3g}*alpha braking"
    swing = f"{source}; step response of the oscillator, the ramp reversed in the worst phase"
    return steady + _grip_pair(
        case,
        index.peak_pushing * index.acceleration,
        index.peak_holding * index.acceleration,
        names=("grip-peak", "seating-peak"),
        formulas=(
            f"F/N <= friction {swinging}, as part and rotor swing on the magnetic spring",
            f"1 - N_min/N_rest <= 1 {swinging}, as part and rotor swing on the magnetic spring",
        ),
        sources=(f"{swing}; {load.friction_source}", swing),
        missing=missing + load.missing.inertia,
    )


def _grip_pair(
    case: LimitCase,
    up: float,
    down: float,
    *,
    names: tuple[str, str],
    formulas: tuple[str, str],
    sources: tuple[str, str],
    missing: tuple[str, ...],
) -> tuple[LimitCheck, ...]:
    """Grip and seating of a part that speeds up at `up` and brakes at `down` (rad/s^2)."""
    load, trough = case.load, case.load.trough
    if trough is None or load.friction is None:
        return ()
    needed = float(friction_needed(trough, up, load.imbalance_torque, braking=down))
    least = float(smallest_normal(trough, up, load.imbalance_torque, braking=down))
    lost = 1 - least / normal_at_rest(trough.mass, trough.half_angle)
    remedy = "Lower index.acceleration, use rollers with more grip, or move the rows further apart"
    return tuple(
        upper_limit(name, value, limit, "", formula=formula, source=source, remedy=remedy, missing=missing)
        for name, value, limit, formula, source in zip(
            names, (needed, lost), (load.friction, 1.0), formulas, sources, strict=True
        )
    )


def creep_check(case: LimitCase) -> tuple[LimitCheck, ...]:
    """Creep of the surface in the longest index, as measured (drive.slip), else estimated, beside what a seam hides."""
    drive, trough = case.machine.drive, case.load.trough
    if trough is None or not isinstance(drive, Rollers):
        return ()
    formula = "creep*r*angle of the longest index <= half the spot; creep = mu*a/R*(1 - sqrt(1 - F/(mu*N))) + spread"
    source = f"Carter's tractive rolling, elastic and alike: an estimate, proved by measuring; {_SEAM}"
    missing = _missing_for_creep(drive, case)
    if missing:
        return (not_known("creep", "m", formula=formula, source=source, missing=missing),)
    ratio = drive.slip if drive.slip > 0 else _estimated_creep(drive, trough, case.load)
    ratio += float(case.job.part.contact_spread)
    if math.isfinite(ratio):
        formula += f" -> {ratio * math.pi * trough.part_diameter * 1e3:.3g} mm in a revolution"
    return (
        _estimate(
            "creep",
            ratio * trough.part_diameter / 2 * case.index.longest,
            case,
            formula=formula,
            source=source,
            remedy="Measure the seams and correct roller_diameter by what they say; better grip creeps less",
            missing=case.load.missing.friction + case.load.missing.imbalance if drive.slip == 0 else (),
        ),
    )


def _missing_for_creep(drive: Rollers, case: LimitCase) -> tuple[str, ...]:
    wanted = {
        "drive.contact_width, or drive.slip as measured": drive.contact_width is not None or drive.slip > 0,
        "window.spot_diameter": case.job.window.spot is not None,
    }
    return tuple(key for key, given in wanted.items() if not given)


def _estimated_creep(drive: Rollers, trough: Trough, load: LoadCase) -> float:
    """At constant speed, against rolling friction and the imbalance: what speeding up costs, braking gives back."""
    if load.friction is None or drive.contact_width is None:
        return math.inf
    used = float(friction_needed(trough, 0.0, load.imbalance_torque)) / load.friction
    return creep_ratio(used, load.friction, drive.contact_width.si, trough.part_diameter, trough.roller_diameter)


def walk_check(case: LimitCase) -> tuple[LimitCheck, ...]:
    """How far a conical part walks along its rollers in the longest index; none with a stop, nor without a taper."""
    drive, trough, taper = case.machine.drive, case.load.trough, float(case.job.part.taper)
    if trough is None or not isinstance(drive, Rollers) or drive.axial_stop or taper == 0:
        return ()
    formula = "pi*D*sin(tau)*sin(beta)*|N_1 - N_2|/(N_1 + N_2) per turn <= half the spot; tan(tau) = taper/cos(beta)"
    source = f"rolling on a tilted axis, the rows holding in proportion to their normals: an estimate; {_SEAM}"
    if case.job.window.spot is None:
        return (not_known("axial-walk", "m", formula=formula, source=source, missing=("window.spot_diameter",)),)
    uneven = unevenness(trough, case.index.acceleration, case.load.imbalance_torque)
    per_turn = walk_per_turn(trough.part_diameter, taper, trough.half_angle, uneven)
    return (
        _estimate(
            "axial-walk",
            per_turn * case.index.longest / (2 * math.pi),
            case,
            formula=f"{formula} -> {per_turn * 1e3:.3g} mm in a turn",
            source=source,
            remedy="Put a stop at the small end (drive.axial_stop = true), or turn it in a chuck",
            missing=case.load.missing.friction,
        ),
    )


def _estimate(
    name: str, value: float, case: LimitCase, *, formula: str, source: str, remedy: str, missing: tuple[str, ...]
) -> LimitCheck:
    """A check against half the spot whose value is a rough estimate: it holds narrowly where a sure one would fail."""
    spot = case.job.window.spot
    limit = spot.si / 2 if spot is not None else 0.0
    check = upper_limit(name, value, limit, "m", formula=formula, source=source, remedy=remedy, missing=missing)
    if check.verdict is not Verdict.FAILS:
        return check
    return LimitCheck(name, value, limit, "m", check.margin, Verdict.NARROW, formula, source, remedy)


ROLLER_CHECKS = (trough_check, grip_checks, creep_check, walk_check)
"""Every check of a part on rollers, in the order they are shown."""
