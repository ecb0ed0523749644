"""The efficiency of the gearing: torque at the motor against torque at the drive, both without and with a load.

Of the two loads the difference counts: what friction and detent torque take of the first they take of the second, too.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass
from fractions import Fraction

from firmware_host.commissioning.estimates.measured import Measured, combined, mean_of, of_limits
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, read
from firmware_host.commissioning.procedures.motor.cycle import CURRENT_WITHIN
from firmware_host.commissioning.script import Answer, Ask, Hold, Release, Say, Step, TurnTo
from firmware_host.errors import InputError
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.motor.torque import torque_constant
from firmware_host.model import Machine
from firmware_host.planning.load.phases import phase_mode

WAYS = ("weights", "current", "no")
TORQUE_WITHIN = 0.1
"""How well a motor's torque per ampere is known where tolerances.torque does not say, plus-minus: from memory."""
_LIFT = Fraction(1, 12)
_WEIGHINGS = 3
_TRIES = 20


@dataclass(frozen=True)
class Cord:
    """A cord that runs on `diameter` (m, to its middle; to `within` m), loaded in steps of `step` (kg)."""

    diameter: float
    step: float
    within: float

    def torque(self, mass: float) -> float:
        """What just turns it (N m): between the weight that did and the one before, a step less."""
        return (mass - self.step / 2) * STANDARD_GRAVITY * self.diameter / 2

    @property
    def torque_within(self) -> float:
        """Half a step, as a torque (N m)."""
        return self.step / 2 * STANDARD_GRAVITY * self.diameter / 2

    @property
    def share(self) -> Measured:
        """What the diameter makes wrong, as a part of every torque."""
        return Measured(1.0, of_limits(self.within) / self.diameter)


def efficiency_script(bench: Bench, cord: Cord) -> Generator[Step, Answer | None, tuple[Finding, ...]]:
    """Ask how the gearing's efficiency is to be measured, and do it; nothing where there is no gearing."""
    if not bench.machine.gearing:
        return ()
    way = yield Ask("gearing", "And the gearing's efficiency: by weights at the motor's pulley, by its current, or no?",
                    "choice", WAYS)  # fmt: skip
    if way == "no":
        return ()
    load = yield from read("load", "The load: a weight for the drive's cord that the motor can lift?", "mass")
    if load <= 0:
        raise InputError("no load tells no efficiency", "Hang a weight on the drive's cord", key="reading")
    by_load = load * STANDARD_GRAVITY * cord.diameter / 2
    torque = combined(by_load, [(by_load, cord.share), (by_load, Measured(1.0, of_limits(cord.step / 2) / load))])
    at_motor = yield from (_by_weights(bench, cord) if way == "weights" else _by_current(bench))
    return (_found(bench.machine, torque, at_motor),)


def _by_weights(bench: Bench, cord: Cord) -> Generator[Step, Answer | None, Measured]:
    """What the load adds at the motor (N m), by a second cord round its pulley."""
    yield Say("Belt on, motor released. Wind a second cord round the motor's pulley so that it lifts the drive's.")
    diameter = yield from read("motor-diameter", "The diameter that this cord runs on, with one thickness?", "length")
    own = Cord(diameter, cord.step, bench.within_length)
    means = []
    for name, words in (("bare", "without the load"), ("loaded", "with the load on the drive's cord")):
        torques = []
        for number in range(_WEIGHINGS):
            question = f"{number + 1}: the weight at the motor that just turns it, {words}?"
            torques.append(own.torque((yield from read(f"{name}-{number}", question, "mass"))))
        means.append(mean_of(torques, 0.0).no_better_than(of_limits(own.torque_within) / math.sqrt(_WEIGHINGS)))
    bare, loaded = means
    added = combined(loaded.value - bare.value, [(1.0, loaded), (-1.0, bare)])
    return combined(added.value, [(1.0, added), (added.value, own.share)])


def _by_current(bench: Bench) -> Generator[Step, Answer | None, Measured]:
    """What the load adds at the motor (N m), by the driver's least current that turns it without and with the load."""
    machine = bench.machine
    yield Say("Belt on, the motor holds; lower the driver's current from try to try until it no longer turns the part.")
    yield Hold(Fraction(0), "to lift")
    least = []
    for name, words in (("bare", "without the load"), ("loaded", "with the load on the drive's cord")):
        yield Say(f"Now {words}. Begin with a current that surely turns it.")
        least.append((yield from _least_current(name)))
    yield Say("Set the driver's current as it was.")
    yield Release("it has lost steps, and begins anew")
    motor, (bare, loaded) = machine.motor, least
    constant = (
        torque_constant(motor.holding_torque.si, motor.rated_current.si) * phase_mode(machine.driver).pull_out_share
    )
    added = combined(loaded.value - bare.value, [(1.0, loaded), (-1.0, bare)]).scaled(constant)
    known_to = machine.tolerances.torque if machine.tolerances.torque is not None else TORQUE_WITHIN
    share = math.hypot(of_limits(known_to), of_limits(CURRENT_WITHIN))
    return combined(added.value, [(1.0, added), (added.value, Measured(1.0, share))])


def _least_current(name: str) -> Generator[Step, Answer | None, Measured]:
    """The least current (A) that turns it: between the last that did and the first that did not."""
    turned = math.nan
    for number in range(_TRIES):
        current = yield from read(f"{name}-{number}", f"Try {number + 1}: the current that is set?", "current")
        yield TurnTo(_LIFT, "a twelfth of a turn, to lift")
        followed = yield Ask(
            f"{name}-{number}-turned", "Did the part turn as far as it should?", "choice", ("yes", "no")
        )
        if followed == "no":
            if math.isnan(turned) or turned <= current:
                raise InputError("it did not turn at first", "Begin with more current, or less load", key="reading")
            return Measured((turned + current) / 2, of_limits((turned - current) / 2))
        turned = current
        yield TurnTo(Fraction(0), "down again")
    raise InputError(f"it still turns after {_TRIES} tries", "Lower the current further each time", key="reading")


def _found(machine: Machine, torque: Measured, at_motor: Measured) -> Finding:
    """Efficiency: load over ratio times what it adds at the motor."""
    if torque.value <= 0:
        raise InputError("the load weighs nothing on its cord", "Say what really hangs there", key="reading")
    if at_motor.value <= 0:
        raise InputError("the motor needs no more for the load", "Take a greater load", key="reading")
    value = torque.value / (float(machine.reduction) * at_motor.value)
    found = combined(value, [(value / torque.value, torque), (value / at_motor.value, at_motor)])
    stated = _stated(machine)
    fits = stated is not None and found.lowest <= stated <= found.highest
    wrong = found.lowest > 1
    first, *others = _changes(machine, min(found.value, 1.0))
    return Finding(
        key="efficiency",
        name="efficiency of the gearing, motor to drive",
        measured=found,
        unit="",
        formula="load torque at the drive/(ratio x (torque at the motor with it - without it))",
        verdict="as stated" if fits else "told" if wrong else "change",
        sentence=_sentence(stated, wrong=wrong, stages=len(machine.gearing)),
        change=None if fits or wrong else first,
        also=() if fits or wrong else tuple(others),
    )


def _sentence(stated: float | None, *, wrong: bool, stages: int) -> str:
    if wrong:
        return "No gearing gives more than it takes: look at the diameters, and at the ratio."
    before = f"The file has {stated:.3g} for all stages." if stated is not None else "No file says it of all stages."
    return before + (f" What it differs is shared among the {stages} stages alike." if stages > 1 else "")


def _stated(machine: Machine) -> float | None:
    """Efficiency of all stages as the file has it; None where one of them is not stated."""
    each = [stage.efficiency for stage in machine.gearing]
    return math.prod(one for one in each if one is not None) if None not in each else None


def _changes(machine: Machine, whole: float) -> list[Change]:
    """What to write at each stage so that all together make `whole`, each off by the same part."""
    own = [stage.efficiency if stage.efficiency is not None else 0.9 for stage in machine.gearing]
    factor = (whole / math.prod(own)) ** (1 / len(own))
    return [
        Change(f"gearing.{place}.efficiency", float(f"{min(each * factor, 1.0):.3g}")) for place, each in enumerate(own)
    ]
