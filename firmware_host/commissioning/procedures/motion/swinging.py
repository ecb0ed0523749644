"""The axis as the files have it swing, and what a measured swing says of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from firmware_host.commissioning.estimates.fits import difference
from firmware_host.commissioning.estimates.measured import Measured, of_limits
from firmware_host.commissioning.finding import Change, Finding, Verdict
from firmware_host.commissioning.procedures.base import Bench, require_plan, require_setup
from firmware_host.mechanics.train.transmission import inertia_at_motor
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.model import Machine
from firmware_host.model.machine.swing import Swing
from firmware_host.planning.load.case import LoadCase, load_variants

WIDEST = 0.5
"""So wide the rotor is made to swing at the most, rad on its torque curve (a full step is pi/2): it is a spring yet."""
PUSHED = 1.0
"""So far a hand pushes it aside, rad on that curve: a third of the way to where it would snap to another place."""
_MOST_UNSURE = 0.1
"""A frequency that is known less well than a computed one is not written."""
_LEAST_SHARE, _MOST_SHARE = 1 / 20, 5.0
"""Beyond these shares of the computed stiffness a reading is a slip: swings miscounted, or another unit."""


@dataclass(frozen=True)
class Swinging:
    """What is expected: `natural` w (rad/s), `as_planned` as the plan takes it (Hz), `computed` from the torque (Hz).

    `inertia` kg m^2 at the motor, rotor counted; `along`: of it about the drive's shaft, what is clamped or lies on the
    rollers. `microsteps`: the move after which it swings well, `step_angle` (rad of the part) so far; `swing`: how far
    to one side then (rad of the part), `widest` the same on the motor's torque curve. `pushed`: how far (rad of the
    part) a hand pushes it aside, to `PUSHED` on that curve. `damping`: as the plan takes it.
    """

    natural: float
    as_planned: Measured
    computed: Measured
    damping: Measured
    inertia: float
    along: float
    microsteps: int
    step_angle: float
    swing: float
    widest: float
    pushed: float


def swinging(bench: Bench) -> Swinging:
    """Raises `InputError` where no job says what turns along."""
    setup, plan = require_setup(bench), require_plan(bench)
    load = load_variants(setup.machine, setup.job).unkind.load
    from_torque = load_variants(setup.machine.model_copy(update={"swing": Swing()}), setup.job).unkind.load
    microstep = 2 * math.pi / float(bench.per_turn)
    on_curve = load.full_steps / 4 * load.ratio
    microsteps, swing = _well_swung(load.natural_frequency, plan.acceleration, microstep, WIDEST / on_curve)
    return Swinging(
        natural=load.natural_frequency,
        as_planned=_hertz(load.natural_band),
        computed=_hertz(from_torque.natural_band),
        damping=_between(load.damping),
        inertia=load.rotor_inertia + load.reflected_inertia,
        along=_clamped(setup.machine, load),
        microsteps=microsteps,
        step_angle=microsteps * microstep,
        swing=swing,
        widest=min(swing * on_curve, WIDEST),
        pushed=PUSHED / on_curve,
    )


def _well_swung(natural: float, acceleration: float, microstep: float, wanted: float) -> tuple[int, float]:
    """The move (microsteps) after which the part swings by `wanted` (rad) to one side, and by how much it then does.

    Ramps up and down of t each leave 4 a/w^2 sin^2(w t/2), which is widest at t = pi/w; a single microstep leaves
    itself, and where no ramp leaves more, that is the move.
    """
    most = 4 * acceleration / natural**2
    if most <= microstep:
        return 1, microstep
    ramp = 2 / natural * math.asin(math.sqrt(min(wanted / most, 1.0)))
    steps = max(1, round(acceleration * ramp**2 / microstep))
    ramp = math.sqrt(steps * microstep / acceleration)
    return steps, max(most * math.sin(min(natural * ramp, math.pi) / 2) ** 2, microstep)


def _clamped(machine: Machine, load: LoadCase) -> float:
    """Inertia about the drive's shaft (kg m^2, >= 0) of what is not the machine's own, as the file wants it."""
    gearing = load.stages[: len(machine.gearing)]
    without = inertia_at_motor(gearing, 0.0)
    each = inertia_at_motor(gearing, 1.0) - without
    return max((load.reflected_inertia - without) / each - machine.drive.shaft_body.inertia, 0.0)


def _hertz(band: FrequencyBand) -> Measured:
    middle, half = (band.lowest + band.highest) / 2, (band.highest - band.lowest) / 2
    return Measured(middle, of_limits(half)).scaled(1 / (2 * math.pi))


def _between(damping: DampingRange) -> Measured:
    return Measured((damping.lowest + damping.highest) / 2, of_limits((damping.highest - damping.lowest) / 2))


def frequency_finding(bench: Bench, here: Swinging, found: Measured, formula: str) -> Finding:
    """The natural frequency (Hz) with what it means, and what to write so that the plan reckons with it."""
    setup = require_setup(bench)
    share = (found.value / here.computed.value) ** 2
    slip = not _LEAST_SHARE <= share <= _MOST_SHARE
    unsure = found.within / found.value > _MOST_UNSURE
    stated = setup.machine.swing.frequency is not None
    fits = _agree(found, here.as_planned)
    verdict: Verdict = ("as stated" if fits else "change") if stated else "told" if fits else "change"
    finding = Finding(
        key="natural-frequency",
        name="the axis with this part swings at",
        measured=found,
        unit="Hz",
        formula=formula,
        verdict=verdict,
        sentence=_frequency_sentence(here, found, slip=slip, unsure=unsure),
        planned=(here.as_planned.lowest, here.as_planned.highest),
    )
    if slip or unsure or (stated and fits):
        return finding
    also = (
        Change("swing.frequency_uncertainty", float(f"{max(found.within / found.value, 1e-3):.2g}")),
        Change("swing.load_inertia", f"{here.along:.6g} kg*m^2"),
        Change("swing.current", str(setup.machine.driver.current)),
    )
    return replace(finding, change=Change("swing.frequency", f"{found.value:.4g} Hz"), also=also)


def _agree(first: Measured, second: Measured) -> bool:
    apart = difference(first, second)
    return apart.lowest <= 0 <= apart.highest


def _frequency_sentence(here: Swinging, found: Measured, *, slip: bool, unsure: bool) -> str:
    computed = here.computed
    expected = f"the {computed.value:.3g} Hz that follow from the motor's torque and what turns"
    if slip:
        return f"That is nowhere near {expected}: were the swings miscounted?"
    share = (found.value / computed.value) ** 2
    if _agree(found, computed):
        told = f"It agrees with {expected}."
    else:
        unsure_by = share * 2 * math.hypot(found.within / found.value, computed.within / computed.value)
        told = (
            f"It is not {expected}: the motor holds {share:.2f} ± {unsure_by:.1g} times as stiffly as its torque says "
            f"(current, motor, a soft belt or coupling), or what turns has {1 / share:.2f} times the inertia of the "
            f"files, {here.inertia:.3g} kg*m^2 at the motor."
        )
    if unsure:
        return f"{told} It is not known better than what is computed: count more swings, or film with more frames."
    return f"{told} Other parts swing as the stiffness that this shows and their own inertia have it."


def damping_finding(here: Swinging, found: Measured, formula: str) -> Finding:
    """The damping ratio, and what to write."""
    fits = here.damping.lowest <= found.value <= here.damping.highest
    part = found.within / found.value if found.value > 0 else math.inf
    finding = Finding(
        key="damping-ratio",
        name="damping ratio",
        measured=found,
        unit="",
        formula=f"{formula} (Rao, Mechanical Vibrations, 2.6.3)",
        verdict="told" if fits else "change",
        sentence=f"The plan has taken it to be {here.damping.value:.2g} ± {here.damping.within:.1g}; each swing is "
        f"{100 * math.exp(-2 * math.pi * found.value):.0f} % of the one before, to the same side.",
        planned=(here.damping.lowest, here.damping.highest),
    )
    if not 0.005 <= found.value <= 0.7 or part > 0.9 or found.value * (1 + part) >= 1:
        return finding
    also = (Change("swing.damping_uncertainty", float(f"{max(part, 1e-3):.2g}")),)
    return replace(finding, change=Change("swing.damping_ratio", float(f"{found.value:.3g}")), also=also)
