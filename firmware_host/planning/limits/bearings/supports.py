"""Limits of what carries the part: bearings, tailstock, its own slenderness, and what happens without power."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.contact.support import (
    PowerOff,
    bearing_loads,
    power_off,
    shaft_load,
    tailstock_share,
    weight_across,
    weight_along,
)
from firmware_host.mechanics.guard import FloatOrArray
from firmware_host.model.base import stated
from firmware_host.planning.body import body_of
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, Standing, not_known, upper_limit
from firmware_host.planning.limits.limit import Figures, Limit
from firmware_host.planning.limits.remedy import GEAR_DOWN, Way, higher, lower, setting
from firmware_host.units import Quantity


def on_motor_shaft(case: LimitCase) -> bool:
    """Whether the chuck sits on the motor's own shaft: no gearing, and no spindle bearings described."""
    return not case.machine.gearing and case.machine.support.largest_radial_load is None


def carried_weights(case: LimitCase, overhang: float) -> tuple[tuple[float, float], ...]:
    """(force in N across the axis, distance from the chuck's face in m) of part and chuck, as the bearings feel them.

    With a tailstock at the part's far end, or a steady rest, only the chuck's share of the part, at its face; with both
    the larger of the shares that either leaves, since nobody knows which of them bears. The chuck counts at its face,
    too: further out than it is, so on the safe side. A chuck of unknown mass counts nothing.
    """
    mass, (chuck, _), tilt = case.load.mass, case.machine.drive.weight, tilt_of(case)
    part = (weight_across(mass, tilt), overhang)
    places = places_beyond(case)
    if places:
        shares = [abs(tailstock_share(mass, overhang, place, tilt)[0]) for place in places]
        part = (np.max(shares, axis=0), 0.0)
    return part, (weight_across(chuck, tilt) if chuck > 0 else 0.0, 0.0)


def places_beyond(case: LimitCase) -> tuple[float, ...]:
    """Distances (m) from the chuck's face to what else carries the part: a steady rest, a tailstock at its end."""
    support = case.machine.support
    rest = (support.steady_rest.position.si,) if support.steady_rest is not None else ()
    return (*rest, case.job.part.whole_length.si) if support.tailstock else rest


def carrying(case: LimitCase) -> tuple[Way, ...]:
    """What else could carry the part: a tailstock, a steady rest below its centre of mass, a grip nearer to that."""
    overhang, ways = case.job.part.overhang, [setting("support.tailstock", True)]
    if overhang is not None and 0 < overhang.exact <= case.job.part.whole_length.exact:
        ways.append(setting("support.steady_rest.position", overhang, "below the centre of mass"))
    return (*ways, lower("part.overhang", "gripped closer to its middle"))


def tilt_of(case: LimitCase) -> float:
    """Tilt of the part's axis, rad, 0 level to pi/2 upright."""
    return case.machine.axis.tilt.si


def tipping_moment(case: LimitCase) -> float:
    """Bending moment (N m) on the spindle of a weight that pulls along a tilted axis, beside it: m g sin(tilt) e."""
    tilt = tilt_of(case)
    if tilt == 0:
        return 0.0
    return weight_along(case.load.mass, tilt) * (body_of(case.job.part).offset or 0.0)


def _tilted(case: LimitCase) -> str:
    """What a tilted axis adds to a formula."""
    return "; weights*cos(tilt), and m*g*e*sin(tilt) tips" if tilt_of(case) > 0 else ""


def missing_chuck_mass(case: LimitCase) -> tuple[str, ...]:
    """The key of the chuck's mass, if it was not given."""
    return case.machine.drive.weight[1]


def hanging_out(case: LimitCase) -> tuple[float, float]:
    """(front bearing to the chuck's face, that to the part's centre of mass) of a part in a chuck, m."""
    base = stated(case.machine.support.overhang_base, "support.overhang_base")
    return base.si, stated(case.job.part.overhang, "part.overhang").si


def absent(wanted: dict[str, Quantity | None]) -> tuple[str, ...]:
    """The keys of what was not given."""
    return tuple(key for key, value in wanted.items() if value is None)


class RadialLoad(Limit):
    """Radial load on the front bearing of the spindle, or on the motor's shaft if the chuck sits on that."""

    name = "radial-load"
    stops_unknown = False

    def helping(self, case: LimitCase) -> tuple[Way, ...]:
        return (*carrying(case), higher("support.largest_radial_load", "larger bearings"))

    def check(self, case: LimitCase) -> LimitCheck | None:
        if case.load.trough is not None:
            return None
        return _radial_on_motor(case) if on_motor_shaft(case) else _radial_on_spindle(case)

    def figures(self, case: LimitCase) -> Figures | None:
        return _on_motor_bearing(case) if on_motor_shaft(case) else _on_spindle_bearing(case)


def _radial_on_motor(case: LimitCase) -> LimitCheck:
    formula = "weight*max(1, distance/rated distance) of part and chuck <= motor's radial load" + _tilted(case)
    source = "moments about the front bearing; the motor's data sheet"
    found, motor = _on_motor_bearing(case), case.machine.motor
    if found is None:
        missing = absent({"motor.radial_load": motor.radial_load, "motor.radial_load_at": motor.radial_load_at})
        return not_known("radial-load", "N", formula=formula, source=source, missing=missing)
    return upper_limit(
        "radial-load",
        *found,
        "N",
        formula=formula,
        source=source,
        remedy="Give the chuck a spindle with bearings of its own",
        missing=missing_chuck_mass(case),
    )


def _on_motor_bearing(case: LimitCase) -> Figures | None:
    (base, overhang), motor = hanging_out(case), case.machine.motor
    rated, rated_at = motor.radial_load, motor.radial_load_at
    if rated is None or rated_at is None:
        return None
    loads = (shaft_load(weight, base + beyond, rated_at.si) for weight, beyond in carried_weights(case, overhang))
    return sum(loads) + tipping_moment(case) / rated_at.si, rated.si


def _radial_on_spindle(case: LimitCase) -> LimitCheck:
    formula = "weight*(1 + distance/spacing) of part and chuck <= largest load of the front bearing" + _tilted(case)
    source = "lever law of two bearings; with a tailstock the chuck's share of the part"
    found, support = _on_spindle_bearing(case), case.machine.support
    if found is None:
        given = (support.largest_radial_load, support.bearing_spacing)
        missing = absent(dict(zip(("support.largest_radial_load", "support.bearing_spacing"), given, strict=True)))
        return not_known("radial-load", "N", formula=formula, source=source, missing=missing)
    return upper_limit(
        "radial-load",
        *found,
        "N",
        formula=formula,
        source=source,
        remedy="Hang the chuck closer to its bearings",
        missing=missing_chuck_mass(case),
    )


def _on_spindle_bearing(case: LimitCase) -> Figures | None:
    (base, overhang), support = hanging_out(case), case.machine.support
    limit, spacing = support.largest_radial_load, support.bearing_spacing
    if limit is None or spacing is None:
        return None
    loads = (
        bearing_loads(weight / STANDARD_GRAVITY, base + beyond, spacing.si)[0]
        for weight, beyond in carried_weights(case, overhang)
        if np.all(weight > 0)
    )
    return sum(loads) + tipping_moment(case) / spacing.si, limit.si


class AxialLoad(Limit):
    """The tailstock's axial force on the bearings, and what of the weights pulls along a tilted axis.

    Which end is low nobody says, so both add. Without a tailstock nothing presses along a level axis.
    """

    name = "axial-load"
    stops_unknown = False
    ways = (lower("support.tailstock_force"), lower("axis.tilt"))

    def check(self, case: LimitCase) -> LimitCheck | None:
        support, tilt = case.machine.support, tilt_of(case)
        if case.load.trough is not None or not (support.tailstock or tilt > 0):
            return None
        _, missing = case.machine.drive.weight
        key = "motor.axial_load" if on_motor_shaft(case) else "support.largest_axial_load"
        return _compared(
            self.name,
            *self._force(case),
            ("support.tailstock_force", key),
            formula="tailstock's force + (m + m_chuck)*g*sin(tilt) <= axial load of the bearings",
            source="equilibrium along the axis; the data of the bearings",
            remedy="Take bearings that bear more thrust",
            missing=missing if tilt > 0 else (),
        )

    def figures(self, case: LimitCase) -> Figures | None:
        return _both(*self._force(case))

    def _force(self, case: LimitCase) -> tuple[FloatOrArray | None, Quantity | None]:
        """(What presses along the axis in N, what the bearings bear of it)."""
        support, motor = case.machine.support, case.machine.motor
        rated = motor.axial_load if on_motor_shaft(case) else support.largest_axial_load
        pressed = support.tailstock_force if support.tailstock else None
        if pressed is None and support.tailstock:
            return None, rated
        weight = weight_along(case.load.mass + case.machine.drive.weight[0], tilt_of(case))
        return weight + (pressed.si if pressed is not None else 0.0), rated


class TailstockLoad(Limit):
    """The weight on the tailstock's centre."""

    name = "tailstock-load"
    stops_unknown = False
    ways = (higher("support.largest_tailstock_load", "a stronger centre"), lower("part.overhang", "gripped further in"))

    def check(self, case: LimitCase) -> LimitCheck | None:
        support = case.machine.support
        if not support.tailstock or case.load.trough is not None:
            return None
        return _compared(
            self.name,
            *self._force(case),
            ("part.overhang", "support.largest_tailstock_load"),
            formula="m*g*cos(tilt)*overhang/length <= largest load of the tailstock's centre",
            source="statics of a beam on two supports",
            remedy="",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        return _both(*self._force(case))

    def _force(self, case: LimitCase) -> tuple[FloatOrArray | None, Quantity | None]:
        """(The weight on the centre in N, what it bears)."""
        return _share(case, case.job.part.whole_length.si), case.machine.support.largest_tailstock_load


def _share(case: LimitCase, place: float) -> FloatOrArray | None:
    """What of the part's weight (N) is carried `place` m from the chuck's face; None where nobody knows its middle."""
    overhang = case.job.part.overhang
    if overhang is None:
        return None
    return tailstock_share(case.load.mass, overhang.si, place, tilt_of(case))[1]


def _both(value: FloatOrArray | None, limit: Quantity | None) -> Figures | None:
    return (value, limit.si) if value is not None and limit is not None else None


def _compared(
    name: str,
    value: FloatOrArray | None,
    limit: Quantity | None,
    keys: tuple[str, str],
    *,
    formula: str,
    source: str,
    remedy: str,
    missing: tuple[str, ...] = (),
) -> LimitCheck:
    """A force (N) against its limit; not known without the data behind either (`keys`)."""
    if value is None or limit is None:
        missing += tuple(key for key, known in zip(keys, (value, limit), strict=True) if known is None)
        known = float(value) if value is not None else None
        return not_known(name, "N", formula=formula, source=source, missing=missing, value=known)
    return upper_limit(name, value, limit.si, "N", formula=formula, source=source, remedy=remedy, missing=missing)


class SteadyRestLoad(Limit):
    """The weight on the steady rest, all of what chuck and rest share, as if no tailstock bore any."""

    name = "steady-rest-load"
    stops_unknown = False
    ways = (
        higher("support.steady_rest.position"),
        lower("part.overhang", "gripped further in"),
    )

    def check(self, case: LimitCase) -> LimitCheck | None:
        rest = case.machine.support.steady_rest
        if rest is None:
            return None
        return _compared(
            self.name,
            _share(case, rest.position.si),
            rest.largest_load,
            ("part.overhang", "support.steady_rest.largest_load"),
            formula="m*g*cos(tilt)*overhang/position <= largest load of the steady rest",
            source="statics of a beam on two supports",
            remedy="Take one that bears more",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        rest = case.machine.support.steady_rest
        return _both(_share(case, rest.position.si), rest.largest_load) if rest is not None else None


class PowerOffTurn(Limit):
    """The imbalance at its worst angle against the motor's detent torque: does the part stay, creep or spin back?

    Advisory where a self-locking stage holds the part, which vibration lets creep.
    """

    name = "power-off"
    stops_unknown = False
    ways = (lower("part.mass_offset"), GEAR_DOWN)

    def check(self, case: LimitCase) -> LimitCheck:
        load = case.load
        detent = stated(case.machine.motor.detent_torque, "motor.detent_torque")
        formula = "m*g*e*cos(tilt)/n <= detent torque"
        source = (
            "statics at the worst angle, no friction; that vibration lets a self-locking stage creep: common practice"
        )
        torque = load.imbalance_at_motor
        outcome = power_off(torque, detent.si, self_locking=_locking(case))
        unsure = _unsure(case)
        formula += f" -> it {outcome.value}"
        if outcome is PowerOff.SPINS_BACK and unsure:
            return not_known(self.name, "N*m", formula=formula, source=source, missing=unsure, value=torque)
        remedy = "Brake the axis; keep hands out when the power goes"
        return upper_limit(self.name, torque, detent.si, "N*m", formula=formula, source=source, remedy=remedy)

    def figures(self, case: LimitCase) -> Figures | None:
        """None where it may be known of one part and not of another."""
        detent = stated(case.machine.motor.detent_torque, "motor.detent_torque")
        return (case.load.imbalance_at_motor, detent.si) if not _unsure(case) else None

    def standing(self, case: LimitCase) -> Standing:
        return replace(super().standing(case), advisory=_locking(case))


def _unsure(case: LimitCase) -> tuple[str, ...]:
    """The keys of stages of which nobody said whether they lock themselves."""
    return tuple(f"gearing.{each.name}.self_locking" for each in case.machine.gearing if each.self_locking is None)


def _locking(case: LimitCase) -> bool:
    return any(stage.self_locking for stage in case.machine.gearing)
