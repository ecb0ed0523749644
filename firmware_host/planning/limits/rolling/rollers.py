"""Limits of a part on rollers: it stays in the trough, creeps and walks little."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from firmware_host.mechanics.contact.creep import creep_ratio, walk_per_turn
from firmware_host.mechanics.contact.rollers import friction_needed, unevenness
from firmware_host.mechanics.contact.tilted import friction_along, side_creep_per_turn
from firmware_host.mechanics.contact.trough import Trough
from firmware_host.mechanics.guard import FloatArray, FloatOrArray, real
from firmware_host.model.machine.drives.base import Cradle
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, Standing, not_known, upper_limit
from firmware_host.planning.limits.limit import Figures, Limit
from firmware_host.planning.limits.remedy import SHORTER_INDEXES, higher, lower, setting
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.load.drive import friction_along_axis, grip_of

_SEAM = "half the spot, at one seam (common practice)"


class FallsThrough(Limit):
    """Distance of the rows against the widest that the part, where it is thinnest, does not fall through."""

    name = "falls-through"
    ways = (lower("drive.centre_distance", "the rows closer together"),)
    never_waived = "the part would drop between the rollers"

    def check(self, case: LimitCase) -> LimitCheck | None:
        trough = case.load.trough
        if trough is None:
            return None
        return upper_limit(
            self.name,
            *_apart(case, trough),
            "m",
            formula="centre distance <= thinnest contact diameter + roller diameter",
            source="triangle of the three centres",
            remedy="Turn it in a chuck",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        return _apart(case, case.load.trough) if case.load.trough is not None else None


def _apart(case: LimitCase, trough: Trough) -> Figures:
    thinnest = case.job.part.contact.si * (1 - real(case.job.part.contact_spread))
    return trough.centre_distance, thinnest + trough.roller_diameter


class Creep(Limit):
    """Creep of the surface in the longest index, as measured (drive.slip), else estimated, beside what a seam hides."""

    name = "creep"
    advisory = True
    ways = (
        *SHORTER_INDEXES,
        higher("drive.friction", "rollers with more grip"),
        lower("drive.contact_width", "harder rollers"),
    )

    def check(self, case: LimitCase) -> LimitCheck | None:
        cradle, trough = case.machine.drive.cradle, case.load.trough
        if trough is None or cradle is None:
            return None
        formula = (
            "creep*r*angle of the longest index <= half the spot; creep = mu*a/R*(1 - sqrt(1 - F/(mu*N))) + spread"
        )
        source = f"Carter's tractive rolling, elastic and alike: an estimate, proved by measuring; {_SEAM}"
        missing = _missing_for_creep(cradle, case)
        if missing:
            return not_known(self.name, "m", formula=formula, source=source, missing=missing)
        ratio = float(_creep(cradle, trough, case))
        if math.isfinite(ratio):
            formula += f" -> {ratio * math.pi * trough.part_diameter * 1e3:.3g} mm in a revolution"
        return upper_limit(
            self.name,
            ratio * trough.part_diameter / 2 * case.index.longest,
            _hidden(case),
            "m",
            formula=formula,
            source=source,
            remedy="Measure the seams and correct drive.roller_diameter by what they say",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        cradle, trough = case.machine.drive.cradle, case.load.trough
        if trough is None or cradle is None or _missing_for_creep(cradle, case):
            return None
        return _creep(cradle, trough, case) * trough.part_diameter / 2 * case.index.longest, _hidden(case)


def _creep(cradle: Cradle, trough: Trough, case: LimitCase) -> FloatArray:
    """Part of the travel that is lost, or lies between the places of contact."""
    ratio = cradle.slip if cradle.slip > 0 else _estimated_creep(cradle, trough, case.load)
    return np.asarray(ratio + real(case.job.part.contact_spread))


def _missing_for_creep(cradle: Cradle, case: LimitCase) -> tuple[str, ...]:
    wanted = {
        "drive.contact_width, or drive.slip as measured": cradle.contact_width is not None or cradle.slip > 0,
        "window.spot_diameter": case.job.window.spot is not None,
    }
    return tuple(key for key, given in wanted.items() if not given)


def _estimated_creep(cradle: Cradle, trough: Trough, load: LoadCase) -> FloatOrArray:
    """At constant speed, against rolling friction and the imbalance: what speeding up costs, braking gives back."""
    if load.friction is None or cradle.contact_width is None:
        return math.inf
    used = friction_needed(trough, 0.0, load.imbalance_torque) / load.friction
    lifted = np.isinf(used)  # by its imbalance alone, off a row
    sizes = (cradle.contact_width, trough.part_diameter, trough.roller_diameter)
    return np.where(lifted, np.inf, creep_ratio(np.where(lifted, 0.0, used), load.friction, *sizes))


class AxialSlide(Limit):
    """The friction that keeps a part from sliding down a tilted axis at a standstill; none with an axial stop."""

    name = "axial-slide"
    ways = (setting("drive.axial_stop", True, "a stop at the lower end"), lower("axis.tilt"))

    def check(self, case: LimitCase) -> LimitCheck | None:
        cradle, along = case.machine.drive.cradle, friction_along_axis(case.machine.drive.cradle, case.load.trough)
        if cradle is None or along == 0:
            return None
        friction, whose = grip_of(cradle)
        return upper_limit(
            self.name,
            along,
            friction,
            "",
            formula="tan(tilt)*cos(beta) <= friction",
            source=f"statics: m*g*sin(tilt) against both normals; {whose}",
            remedy="Turn it in a chuck",
        )


class AxialWalk(Limit):
    """How far a part walks along its rollers in the longest index; none with a stop.

    A conical one walks, and any one creeps down a tilted axis: then nothing brings it back, and the limit stops.
    """

    name = "axial-walk"
    advisory = True
    ways = (setting("drive.axial_stop", True, "a stop where it walks to"), lower("axis.tilt"), *SHORTER_INDEXES)

    def standing(self, case: LimitCase) -> Standing:
        trough = case.load.trough
        return replace(super().standing(case), advisory=trough is None or trough.tilt == 0)

    def check(self, case: LimitCase) -> LimitCheck | None:
        cradle, trough, taper = case.machine.drive.cradle, case.load.trough, real(case.job.part.taper)
        if trough is None or cradle is None or cradle.axial_stop or (taper == 0 and trough.tilt == 0):
            return None
        formula = (
            "pi*D*sin(tau)*sin(beta)*|N_1 - N_2|/(N_1 + N_2) per turn <= half the spot; tan(tau) = taper/cos(beta)"
        )
        source = f"rolling on a tilted axis, the rows holding in proportion to their normals: an estimate; {_SEAM}"
        if trough.tilt > 0:
            formula += "; and pi*D*2*creep of the side force tan(tilt)*cos(beta)"
        missing = _missing_for_walk(cradle, trough, case)
        if missing:
            return not_known(self.name, "m", formula=formula, source=source, missing=missing)
        side = _side_creep(cradle, trough)
        if math.isinf(side):  # it slides before it rolls, as `axial-slide` says
            return None
        per_turn = float(_walk(case, trough) + side_creep_per_turn(trough.part_diameter, side))
        return upper_limit(
            self.name,
            per_turn * case.index.longest / (2 * math.pi),
            _hidden(case),
            "m",
            formula=f"{formula} -> {per_turn * 1e3:.3g} mm in a turn",
            source=source,
            remedy="Turn it in a chuck",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        """None on a tilted axis: there one part may walk, and another slide."""
        cradle, trough = case.machine.drive.cradle, case.load.trough
        if cradle is None or trough is None or trough.tilt != 0 or _missing_for_walk(cradle, trough, case):
            return None
        return _walk(case, trough) * case.index.longest / (2 * math.pi), _hidden(case)


def _walk(case: LimitCase, trough: Trough) -> FloatArray:
    """How far a cone walks in a turn, m."""
    uneven = unevenness(trough, case.index.acceleration, case.load.imbalance_torque)
    return np.asarray(walk_per_turn(trough.part_diameter, real(case.job.part.taper), trough.half_angle, uneven))


def _missing_for_walk(cradle: Cradle, trough: Trough, case: LimitCase) -> tuple[str, ...]:
    wanted = {
        "window.spot_diameter": case.job.window.spot is not None,
        "drive.contact_width": trough.tilt == 0 or cradle.contact_width is not None,
    }
    return tuple(key for key, given in wanted.items() if not given)


def _side_creep(cradle: Cradle, trough: Trough) -> float:
    """Creep of a rolling contact that gives way to what pulls a part down its tilted axis; infinite where it slides."""
    if trough.tilt == 0 or cradle.contact_width is None:
        return 0.0
    friction, _ = grip_of(cradle)
    used = friction_along(trough.half_angle, trough.tilt) / friction
    return float(creep_ratio(used, friction, cradle.contact_width, trough.part_diameter, trough.roller_diameter))


def _hidden(case: LimitCase) -> float:
    """What a seam hides, m: half the spot."""
    return case.job.window.spot.si / 2 if case.job.window.spot is not None else 0.0
