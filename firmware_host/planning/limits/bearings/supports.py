"""Limits of what carries the part: bearings, tailstock, its own slenderness, and what happens without power."""

from __future__ import annotations

from dataclasses import replace

from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.contact.support import (
    SLENDEREST_BETWEEN_SUPPORTS,
    SLENDEREST_OVERHUNG,
    PowerOff,
    bearing_loads,
    power_off,
    shaft_load,
    slenderness,
    tailstock_share,
)
from firmware_host.model.base import stated
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, Standing, not_known, upper_limit
from firmware_host.planning.limits.limit import Limit
from firmware_host.units import Quantity


def on_motor_shaft(case: LimitCase) -> bool:
    """Whether the chuck sits on the motor's own shaft: no gearing, and no spindle bearings described."""
    return not case.machine.gearing and case.machine.support.largest_radial_load is None


def carried_weights(case: LimitCase, overhang: float) -> tuple[tuple[float, float], ...]:
    """(weight in N, distance from the chuck's face in m) of the part and of the chuck, as the bearings feel them.

    With a tailstock at the part's far end only the chuck's share of the part, at its face. The chuck counts there, too:
    further out than it is, so on the safe side. A chuck of unknown mass counts nothing.
    """
    load, (chuck, _) = case.load, case.machine.drive.weight
    part = (load.mass * STANDARD_GRAVITY, overhang)
    if case.machine.support.tailstock:
        on_chuck, _ = tailstock_share(load.mass, overhang, case.job.part.whole_length.si)
        part = (abs(on_chuck), 0.0)
    return part, (chuck * STANDARD_GRAVITY, 0.0)


def missing_chuck_mass(case: LimitCase) -> tuple[str, ...]:
    """The key of the chuck's mass, if it was not given."""
    return case.machine.drive.weight[1]


def absent(wanted: dict[str, Quantity | None]) -> tuple[str, ...]:
    """The keys of what was not given."""
    return tuple(key for key, value in wanted.items() if value is None)


class RadialLoad(Limit):
    """Radial load on the front bearing of the spindle, or on the motor's shaft if the chuck sits on that."""

    name = "radial-load"
    stops_unknown = False

    def check(self, case: LimitCase) -> LimitCheck | None:
        if case.load.trough is not None:
            return None
        return _radial_on_motor(case) if on_motor_shaft(case) else _radial_on_spindle(case)


def _radial_on_motor(case: LimitCase) -> LimitCheck:
    formula = "weight*max(1, distance/rated distance) of part and chuck <= motor's radial load"
    source = "moments about the front bearing; the motor's data sheet"
    motor, support, overhang = case.machine.motor, case.machine.support, case.job.part.overhang
    rated, rated_at, base = motor.radial_load, motor.radial_load_at, support.overhang_base
    if rated is None or rated_at is None or base is None or overhang is None:
        missing = absent(
            {
                "motor.radial_load": rated,
                "motor.radial_load_at": rated_at,
                "support.overhang_base": base,
                "part.overhang": overhang,
            }
        )
        return not_known("radial-load", "N", formula=formula, source=source, missing=missing)
    loads = (shaft_load(weight, base.si + beyond, rated_at.si) for weight, beyond in carried_weights(case, overhang.si))
    return upper_limit(
        "radial-load",
        sum(loads),
        rated.si,
        "N",
        formula=formula,
        source=source,
        remedy="Give the chuck a spindle with bearings of its own, support the part, or grip it closer",
        missing=missing_chuck_mass(case),
    )


def _radial_on_spindle(case: LimitCase) -> LimitCheck:
    formula = "weight*(1 + distance/spacing) of part and chuck <= largest load of the front bearing"
    source = "lever law of two bearings; with a tailstock the chuck's share of the part"
    support, overhang = case.machine.support, case.job.part.overhang
    limit, spacing, base = support.largest_radial_load, support.bearing_spacing, support.overhang_base
    if limit is None or spacing is None or base is None or overhang is None:
        missing = absent(
            {
                "support.largest_radial_load": limit,
                "support.bearing_spacing": spacing,
                "support.overhang_base": base,
                "part.overhang": overhang,
            }
        )
        return not_known("radial-load", "N", formula=formula, source=source, missing=missing)
    loads = (
        bearing_loads(weight / STANDARD_GRAVITY, base.si + beyond, spacing.si)[0]
        for weight, beyond in carried_weights(case, overhang.si)
        if weight > 0
    )
    return upper_limit(
        "radial-load",
        sum(loads),
        limit.si,
        "N",
        formula=formula,
        source=source,
        remedy="Support the part with a tailstock, grip it closer to its middle, or take larger bearings",
        missing=missing_chuck_mass(case),
    )


class AxialLoad(Limit):
    """The tailstock's axial force on the bearings. Without one nothing presses along a level axis."""

    name = "axial-load"
    stops_unknown = False

    def check(self, case: LimitCase) -> LimitCheck | None:
        support, motor = case.machine.support, case.machine.motor
        if not support.tailstock or case.load.trough is not None:
            return None
        key = "motor.axial_load" if on_motor_shaft(case) else "support.largest_axial_load"
        return _compared(
            self.name,
            support.tailstock_force.si if support.tailstock_force is not None else None,
            motor.axial_load if on_motor_shaft(case) else support.largest_axial_load,
            ("support.tailstock_force", key),
            formula="tailstock's force <= axial load of the bearings",
            source="equilibrium along a level axis; the data of the bearings",
            remedy="Press less hard with the tailstock",
        )


class TailstockLoad(Limit):
    """The weight on the tailstock's centre."""

    name = "tailstock-load"
    stops_unknown = False

    def check(self, case: LimitCase) -> LimitCheck | None:
        support, part = case.machine.support, case.job.part
        if not support.tailstock or case.load.trough is not None:
            return None
        on_centre = None
        if part.overhang is not None:
            on_centre = tailstock_share(case.load.mass, part.overhang.si, part.whole_length.si)[1]
        return _compared(
            self.name,
            on_centre,
            support.largest_tailstock_load,
            ("part.overhang", "support.largest_tailstock_load"),
            formula="m*g*overhang/length <= largest load of the tailstock's centre",
            source="statics of a beam on two supports",
            remedy="Take a stronger centre, or a steady rest",
        )


def _compared(
    name: str,
    value: float | None,
    limit: Quantity | None,
    keys: tuple[str, str],
    *,
    formula: str,
    source: str,
    remedy: str,
) -> LimitCheck:
    """A force (N) against its limit; not known without the data behind either (`keys`)."""
    if value is None or limit is None:
        missing = tuple(key for key, known in zip(keys, (value, limit), strict=True) if known is None)
        return not_known(name, "N", formula=formula, source=source, missing=missing, value=value)
    return upper_limit(name, value, limit.si, "N", formula=formula, source=source, remedy=remedy)


class UnsupportedLength(Limit):
    """The part's length, all of it counted as unsupported, over its thinnest diameter."""

    name = "unsupported-length"
    advisory = True

    def check(self, case: LimitCase) -> LimitCheck | None:
        if case.load.trough is not None:
            return None
        between_two = case.machine.support.tailstock
        limit = SLENDEREST_BETWEEN_SUPPORTS if between_two else SLENDEREST_OVERHUNG
        where = "between chuck and tailstock" if between_two else "out of the chuck"
        return upper_limit(
            self.name,
            slenderness(case.job.part.whole_length.si, case.job.part.thinnest.si),
            limit,
            "",
            formula=f"length/thinnest diameter <= {limit:g} {where}, a rule of thumb",
            source="common practice, no source",
            remedy="Set a steady rest, or a tailstock",
        )


class PowerOffTurn(Limit):
    """The imbalance at its worst angle against the motor's detent torque: does the part stay, creep or spin back?

    Advisory where a self-locking stage holds the part, which vibration lets creep.
    """

    name = "power-off"
    stops_unknown = False

    def check(self, case: LimitCase) -> LimitCheck:
        load, gearing = case.load, case.machine.gearing
        detent = stated(case.machine.motor.detent_torque, "motor.detent_torque")
        formula = "m*g*e/n <= detent torque"
        source = (
            "statics at the worst angle, no friction; that vibration lets a self-locking stage creep: common practice"
        )
        torque = load.imbalance_at_motor
        outcome = power_off(torque, detent.si, self_locking=_locking(case))
        unsure = tuple(f"gearing[{stage.name}].self_locking" for stage in gearing if stage.self_locking is None)
        formula += f" -> it {outcome.value}"
        if outcome is PowerOff.SPINS_BACK and unsure:
            return not_known(self.name, "N*m", formula=formula, source=source, missing=unsure, value=torque)
        remedy = "Balance the part, brake the axis, or gear it down; keep hands out when the power goes"
        return upper_limit(self.name, torque, detent.si, "N*m", formula=formula, source=source, remedy=remedy)

    def standing(self, case: LimitCase) -> Standing:
        return replace(super().standing(case), advisory=_locking(case))


def _locking(case: LimitCase) -> bool:
    return any(stage.self_locking for stage in case.machine.gearing)
