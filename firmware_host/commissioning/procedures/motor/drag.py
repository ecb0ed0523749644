"""`drag`: friction at the drive's shaft and imbalance by a weight on a cord, and the efficiency of the gearing."""

from __future__ import annotations

import math
from collections.abc import Generator
from fractions import Fraction
from typing import NamedTuple

from firmware_host.commissioning.estimates.fits import first_harmonic
from firmware_host.commissioning.estimates.measured import NORMAL_95, Measured, combined, mean_of, of_limits
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, read
from firmware_host.commissioning.procedures.motor.efficiency import Cord, efficiency_script
from firmware_host.commissioning.script import Answer, Ask, Hold, Release, Say, Script, Step
from firmware_host.errors import InputError
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.model import Machine
from firmware_host.planning.assume.motor import DETENT_SHARES

DETENT_WITHIN = 0.3
"""How well a stated detent torque is known, plus-minus, in 95 of 100 motors: common practice, no source."""


class _Weighed(NamedTuple):
    """Torques (N m) that just turn the drive's shaft at places evenly around: as a mark runs, and the other way."""

    forward: list[float]
    back: list[float]
    cord: Cord

    @property
    def friction(self) -> Measured:
        """Mean of the two ways: the imbalance at one place helps the one as much as it hinders the other."""
        each = [(one + other) / 2 for one, other in zip(self.forward, self.back, strict=True)]
        chance = mean_of(each, 0.0).no_better_than(of_limits(self.cord.torque_within) / math.sqrt(2 * len(each)))
        return combined(chance.value, [(1.0, chance), (chance.value, self.cord.share)])

    @property
    def imbalance(self) -> Measured:
        """Largest torque of the imbalance over a turn: half of the difference, as it changes with the place."""
        count = len(self.forward)
        halves = [(one - other) / 2 for one, other in zip(self.forward, self.back, strict=True)]
        angles = [2 * math.pi * place / count for place in range(count)]
        found = first_harmonic(angles, halves, self.cord.torque_within / math.sqrt(2)).amplitude
        return combined(found.value, [(1.0, found), (found.value, self.cord.share)])


class Drag(Procedure):
    """Hang weights on a cord round the drive until it just turns, both ways, at places around."""

    key = "drag"
    title = "friction of the axis, efficiency of the gearing"
    purpose = (
        "Shows what the motor has to overcome before anything speeds up, and what of its torque the gearing takes."
    )
    needs = (
        "a cord, a hook or a cup, and weights in small steps",
        "a rule or a calliper for the diameter that the cord runs on",
    )
    repeats, fewest = 6, 4
    resumed = "anywhere"

    def moves(self, bench: Bench) -> str:
        return (
            "The motor is released, and your weights turn the part. A part that is heavy on one side swings round as "
            "soon as it is let go: support it, and let go slowly. Keep hands out of cord and jaws, feet from under the "
            "weight. With the driver's current measured, too, the motor lifts the weight by a twelfth of a turn."
        )

    def script(self, bench: Bench) -> Script:
        yield Say(_before(bench.machine))
        engaged = (yield Ask("belt", "Is the belt off, or the coupling loose, so that the drive turns alone?",
                             "choice", ("yes", "no"))) == "no"  # fmt: skip
        if engaged and any(stage.self_locking for stage in bench.machine.gearing):
            remedy = "Take the drive off its gearing, and measure it alone"
            raise InputError("no weight at the part turns a self-locking stage", remedy, key="procedure")
        cord = yield from _cord(bench)
        yield Release("hold the part; it may swing round")
        weighed = yield from _weighed(bench, cord)
        friction = _less_detent(bench.machine, weighed.friction, engaged=engaged)
        findings = (_friction(bench.machine, friction, engaged=engaged), _imbalance(bench, weighed.imbalance))
        more = yield from efficiency_script(bench, cord)
        yield Say("Take the weights off, and hold the part.")
        yield Hold(Fraction(0), "as before")
        return (*findings, *more)


def _before(machine: Machine) -> str:
    on = "the driven roller, with no part on the rollers" if machine.drive.rolls_on_part else "the chuck or the part"
    return f"Draw tailstock and steady rest back. Wind the cord round {on}, so that it runs off straight down."


def _cord(bench: Bench) -> Generator[Step, Answer | None, Cord]:
    diameter = yield from read("diameter", "The diameter that the cord runs on, and one thickness of it?", "length")
    step = yield from read("step", "The smallest weight that you add?", "mass")
    if diameter <= 0 or step <= 0:
        raise InputError("a diameter or a weight of nothing turns nothing", "Measure it", key="reading")
    return Cord(diameter, step, bench.within_length)


def _weighed(bench: Bench, cord: Cord) -> Generator[Step, Answer | None, _Weighed]:
    forward, back = [], []
    for place in range(bench.repeats):
        where = f"Turn it by hand to {360 * place / bench.repeats:.4g} deg. The weight that just turns it"
        forward.append(cord.torque((yield from read(f"forward-{place}", f"{where} the way a mark runs?", "mass"))))
        back.append(cord.torque((yield from read(f"back-{place}", f"{where} the other way?", "mass"))))
    return _Weighed(forward, back, cord)


def _less_detent(machine: Machine, found: Measured, *, engaged: bool) -> Measured:
    """The drive's own friction: a motor that turns along adds its detent torque, geared down."""
    if not engaged:
        return found
    ratio, stated = float(machine.reduction), machine.motor.detent_torque
    low, high = (each * machine.motor.holding_torque.si for each in DETENT_SHARES)
    if stated is not None:
        low, high = (stated.si * (1 + each) for each in (-DETENT_WITHIN, DETENT_WITHIN))
    detent = Measured((low + high) / 2 * ratio, (high - low) / 2 * ratio / NORMAL_95)
    return combined(found.value - detent.value, [(1.0, found), (-1.0, detent)])


def _friction(machine: Machine, found: Measured, *, engaged: bool) -> Finding:
    stated = machine.drive.shaft_friction
    fits = stated is not None and found.lowest <= stated <= found.highest
    where = "driven roller" if machine.drive.rolls_on_part else "spindle"
    before = f"The file has {stated:.3g} N*m at the {where}." if stated is not None else "No file says it yet."
    unclear = engaged and found.lowest <= 0
    told = "The motor's detent torque hides it: take the belt off, and measure again." if unclear else before
    return Finding(
        key="friction",
        name=f"friction torque at the {where}",
        measured=found,
        unit="N*m",
        formula="mean over both ways of (m - step/2) g D/2" + (", less detent torque times ratio" if engaged else ""),
        verdict="as stated" if fits else "told" if unclear else "change",
        sentence=told,
        planned=None if stated is None else (stated, stated),
        change=None if fits or unclear else Change("drive.friction_torque", f"{max(found.value, 0.0):.3g} N*m"),
    )


def _imbalance(bench: Bench, found: Measured) -> Finding:
    sentence = "It changes over the turn as a weight on one side does; friction does not."
    if bench.setup is not None and bench.setup.job.part.mass is not None:
        off = found.scaled(1e3 / (bench.setup.job.part.mass.si * STANDARD_GRAVITY))
        sentence = f"With the part in it, its centre of mass is {off.value:.2g} ± {off.within:.1g} mm off the axis: "
        sentence += "part.mass_offset of the job."
    return Finding(
        key="imbalance",
        name="imbalance, at its worst angle",
        measured=found,
        unit="N*m",
        formula="amplitude of half the difference of both ways around the turn (least squares)",
        verdict="told",
        sentence=sentence,
    )
