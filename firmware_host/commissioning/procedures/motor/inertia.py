"""`inertia`: of chuck, roller or part, by timed swings, a run-down, or the ringing with and without a known ring."""

from __future__ import annotations

from collections.abc import Generator
from fractions import Fraction
from typing import NamedTuple, TypeAlias

from firmware_host.commissioning.estimates.fits import difference
from firmware_host.commissioning.estimates.inertia import (
    by_bifilar,
    by_pendulum,
    by_ring,
    by_run_down,
    period,
    ring_inertia,
)
from firmware_host.commissioning.estimates.measured import NORMAL_95, Measured, mean_of, of_limits
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, read
from firmware_host.commissioning.script import Answer, Ask, Hold, Release, Say, Script, Step
from firmware_host.model import Machine
from firmware_host.model.base import stated
from firmware_host.planning.body import body_of

WAYS = ("pendulum", "two-cords", "run-down", "ring")
TIMED_WITHIN = 0.2
"""How well a hand stops a watch, plus-minus (s): common practice, no source."""
STATED_WITHIN = 0.10
"""How well an inertia that a file states is known, plus-minus, in 95 of 100: common practice, no source."""
_BENDS = 3.0


class _Found(NamedTuple):
    """An inertia (kg m^2) at the drive's shaft, its formula; what is to be told besides."""

    inertia: Measured
    formula: str
    remark: str = ""


_Way: TypeAlias = "Generator[Step, Answer | None, _Found]"


class Inertia(Procedure):
    """Time how quickly it swings or slows down."""

    key = "inertia"
    title = "inertia of chuck, roller or part"
    purpose = "Shows what the motor has to speed up: a drawing of a chuck is seldom right to better than a third."
    needs = (
        "a stop-watch or a camera",
        "a scale, a rule, and a weight, two cords or a ring, as you choose",
    )
    repeats, fewest = 4, 3
    resumed = "anywhere"

    def moves(self, bench: Bench) -> str:
        return (
            "The motor is released, and only you turn the part: off its belt it swings, or runs down by itself. "
            "A weight on it falls to its lowest place as soon as it is let go: support it. Keep hands, sleeves and "
            "hair away from what turns. With a ring nothing is released: the frequencies are read as for `ringing`."
        )

    def script(self, bench: Bench) -> Script:
        way = str((yield Ask("way", "How is it measured?", "choice", WAYS)))
        question = "Is the part in it (or is it the part that hangs)?"
        with_part = (yield Ask("part", question, "choice", ("yes", "no"))) == "yes"
        if way in ("pendulum", "run-down"):
            yield Say("Take the belt off, or loosen the coupling. Draw tailstock and steady rest back.")
            yield Release("hold what is heavy on one side")
        found = yield from _WAYS[way](bench)
        if way in ("pendulum", "run-down"):
            yield Say("Take the weight off. Hold the part.")
            yield Hold(Fraction(0), "as before")
        hangs = way == "two-cords"
        inertia = found.inertia if hangs or not with_part else _less(found.inertia, _of_drive(bench.machine))
        return ((_of_part if with_part else _of_shaft)(bench, found._replace(inertia=inertia)),)


def _mass(question: str, key: str = "mass") -> Generator[Step, Answer | None, Measured]:
    mass = yield from read(key, question, "mass")
    step = yield from read(f"{key}-step", "The smallest step of that scale?", "mass")
    return Measured(mass, of_limits(step / 2))


def _length(bench: Bench, key: str, question: str) -> Generator[Step, Answer | None, Measured]:
    return Measured((yield from read(key, question, "length")), of_limits(bench.within_length))


def _period(bench: Bench, side: str, words: str) -> Generator[Step, Answer | None, Measured]:
    swings = yield from read(f"swings-{side}", f"{words}: how many swings to and fro are timed at once?", "number")
    width = yield from read(f"width-{side}", "How far does it swing to one side, on average?", "angle")
    times = []
    for count in range(bench.repeats):
        times.append((yield from read(f"time-{side}-{count}", f"{count + 1}: the time of these swings?", "time")))
    return period(times, swings, width, TIMED_WITHIN)


def _pendulum(bench: Bench) -> _Way:
    mass = yield from _mass("The weight to clamp on: its mass?")
    arm = yield from _length(bench, "arm", "Its middle stands how far from the axis?")
    yield Say("See where the body comes to a stop by itself, without the weight; mark its lowest place.")
    one = yield from _period(bench, "low", "With the weight at that mark")
    other = yield from _period(bench, "high", "With the weight just opposite")
    return _Found(by_pendulum(mass, arm, one, other), "2 m g R/(w1^2 + w2^2) - m R^2, the weight at both sides")


def _two_cords(bench: Bench) -> _Way:
    yield Say("Hang it on two upright cords, as long as one another, its axis upright in the middle between them.")
    mass = yield from _mass("What hangs there: its mass?")
    apart = yield from _length(bench, "apart", "How far are the cords apart?")
    length = yield from _length(bench, "length", "How long are they?")
    swing = yield from _period(bench, "turning", "Turned a little about its axis and let go")
    return _Found(by_bifilar(mass, apart, length, swing), "m g d^2 T^2/(16 pi^2 L)")


def _run_down(bench: Bench) -> _Way:
    friction = yield from read("friction", "Its friction torque, as `drag` found it?", "torque")
    within = yield from read("friction-within", "Plus-minus (95 %)?", "torque")
    read_to = yield from read("speed-within", "How closely are speeds read?", "angular speed")
    yield Say("Spin it by hand, and let go of it.")
    times, speeds = [], []
    for count in range(bench.repeats):
        times.append((yield from read(f"time-{count}", f"{count + 1}: the time of the reading?", "time")))
        speeds.append((yield from read(f"speed-{count}", "The speed then?", "angular speed")))
    inertia, line = by_run_down(times, speeds, Measured(friction, within / NORMAL_95), read_to)
    bends = line.scatter > _BENDS * of_limits(read_to)
    remark = "The speed falls along no straight line: the friction changes with it." if bends else ""
    return _Found(inertia, "T_friction/|slope of the speed| (least squares; JCGM 100:2008, H.3)", remark)


def _ring(bench: Bench) -> _Way:
    yield Say(
        "Belt on, motor energised. Read the frequency after a single step as `ringing` does, then with the ring on."
    )
    mass = yield from _mass("The ring: its mass?")
    outer = yield from _length(bench, "outer", "Its outer diameter?")
    inner = yield from _length(bench, "inner", "Its inner diameter?")
    found = []
    for key, words in (("without", "without the ring"), ("with", "with the ring")):
        rates = []
        for count in range(bench.repeats):
            rates.append((yield from read(f"{key}-{count}", f"{count + 1}: the frequency {words}?", "rate")))
        found.append(mean_of(rates, 0.0))
    total = by_ring(ring_inertia(mass, outer, inner), *found)
    remark = "What rotor and gearing count at the drive was taken off, as the file has it."
    return _Found(_less(total, _of_train(bench.machine)), "J_ring/((f0/f1)^2 - 1), less rotor and gearing", remark)


_WAYS = {"pendulum": _pendulum, "two-cords": _two_cords, "run-down": _run_down, "ring": _ring}


def _less(found: Measured, inertia: float) -> Measured:
    """What is left without an inertia (kg m^2) that the file states."""
    return difference(found, Measured(inertia, STATED_WITHIN * inertia / NORMAL_95))


def _of_drive(machine: Machine) -> float:
    """What turns on the drive's shaft besides the part (kg m^2)."""
    return machine.drive.shaft_body.inertia


def _of_train(machine: Machine) -> float:
    """What rotor and gearing count at the drive's shaft (kg m^2): J n^2."""
    turns = float(machine.reduction)
    total = stated(machine.motor.rotor_inertia, "motor.rotor_inertia").si * turns**2
    for stage in machine.gearing:
        total += stated(stage.driving_inertia, f"gearing.{stage.name}.driving_inertia").si * turns**2
        turns /= float(stage.reduction)
        total += stated(stage.driven_inertia, f"gearing.{stage.name}.driven_inertia").si * turns**2
    return total


def _of_shaft(bench: Bench, found: _Found) -> Finding:
    """Of the chuck, or of one roller."""
    rolls = bench.machine.drive.rolls_on_part
    key, name = ("drive.roller_inertia", "one roller") if rolls else ("drive.inertia", "chuck, jaws and spindle")
    own = getattr(bench.machine.drive, "roller_inertia" if rolls else "inertia", None)
    inertia = found.inertia
    fits = own is not None and inertia.lowest <= own.si <= inertia.highest
    before = f"The file has {own}." if own is not None else "No file says it yet."
    change = None if fits or inertia.value <= 0 else Change(key, f"{inertia.value * 1e7:.4g} g*cm^2")
    return _finding(
        "inertia-drive", f"inertia of {name}", found, f"{before} {found.remark}".strip(), fits=fits, change=change
    )


def _of_part(bench: Bench, found: _Found) -> Finding:
    """Of the part, beside what its job computes; nothing of the machine's file."""
    if bench.setup is None:
        told = 'In a job: part.kind = "measured", part.inertia.'
        return _finding("inertia-part", "inertia of the part", found, f"{told} {found.remark}".strip(), fits=False)
    computed = body_of(bench.setup.job.part).inertia
    fits = found.inertia.lowest <= computed <= found.inertia.highest
    told = f"The job's part has {computed * 1e7:.4g} g*cm^2"
    more = "." if fits else ': look at its mass and diameters, or state part.inertia (kind = "measured").'
    return _finding("inertia-part", "inertia of the part", found, f"{told}{more} {found.remark}".strip(), fits=fits)


def _finding(key: str, name: str, found: _Found, sentence: str, *, fits: bool, change: Change | None = None) -> Finding:
    return Finding(
        key=key,
        name=name,
        measured=found.inertia.scaled(1e7),
        unit="g*cm^2",
        formula=found.formula,
        verdict="as stated" if fits else "change" if change is not None else "told",
        sentence=sentence,
        change=change,
    )
