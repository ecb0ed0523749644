"""A half-described machine is never planned quicker, nor judged kinder, than with any value of what it leaves open."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from firmware_host.errors import LimitExceededError
from firmware_host.model.files.loading import Setup, load_job
from firmware_host.planning.assume.complete import complete, with_assumed
from firmware_host.planning.layout.seams import Seams
from firmware_host.planning.limit_report import LimitReport, check_limits
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.units import parse_quantity
from tests.planning.assume.half import JOBS, Path, described, optional_paths, somewhere, without

NO_OTHER_CHECK = {"mass"}
"""Of two figures that are compared: without one of them there is nothing to compare."""

ALONE = 6
"""How many keys are taken out of a machine one at a time; over all machines each key is, many times."""

SWINGING = {"torque-peak", "grip-peak", "seating-peak", "roller-bearing-load", "motor-shaft-load", "worm-thrust"}

_ROUNDING = 1e-6
_PEAKS, _SETTLING = 4e-3, 2e-3
"""How far the search for the worst frequency and damping may stay above it: see the page of the index move."""

_SEARCH = 0.02
"""The search finds the quickest motion to within 2 %."""


def on(setup: Setup, plan: JobPlan) -> LimitReport:
    """The limits of a setup at another plan's motion and moves."""
    route, motion = plan.route, plan.limits.motion
    return check_limits(
        setup.machine,
        setup.job,
        index_turns=route.index_turns,
        speed=motion.speed,
        acceleration=motion.acceleration,
        purposes=route.purpose,
    )


def kinder(half: LimitReport, whole: LimitReport) -> Iterator[str]:
    """What a half-described machine is judged kinder in than a described one at the same motion."""
    shown = {check.name: check for check in half.checks}
    for check in whole.checks:
        found = shown.get(check.name)
        if found is None:
            if check.name not in NO_OTHER_CHECK:
                yield f"{check.name} is not looked at"
        elif found.margin is not None and check.margin is not None:
            within = _PEAKS if check.name in SWINGING else _ROUNDING
            room = within * (1 + abs(check.margin)) if abs(check.margin) < float("inf") else 0.0
            if found.margin > check.margin + room:
                yield f"{check.name} margin {found.margin:.6g}, described {check.margin:.6g}"
        elif found.verdict.gravity < check.verdict.gravity:
            yield f"{check.name} {found.verdict}, described {check.verdict}"
    if half.motion.timing.settle_s < whole.motion.timing.settle_s * (1 - _SETTLING) - 1e-9:
        yield f"settles {half.motion.timing.settle_s:.6g} s, described {whole.motion.timing.settle_s:.6g} s"


def as_moved(setup: Setup, plan: JobPlan) -> Setup:
    """The setup with the motion of a plan stated: how quickly a part is turned decides how far it creeps."""
    speed = parse_quantity(f"{plan.limits.motion.speed:.12g} rad/s", "angular speed")
    acceleration = parse_quantity(f"{plan.limits.motion.acceleration:.12g} rad/s^2", "angular acceleration")
    index = setup.job.index.model_copy(update={"speed": speed, "acceleration": acceleration})
    return replace(setup, job=setup.job.model_copy(update={"index": index}))


def kinder_seams(half: Seams, whole: Seams) -> Iterator[str]:
    """Where the seams of a half-described machine may come to less than those of a described one."""
    for name, inside in (("gap", half.highest - whole.highest), ("overlap", whole.lowest - half.lowest)):
        if inside.size and inside.min() < -1e-10:
            yield f"the largest {name} of a seam is {-inside.min() * 1e6:.3g} um less"


def faults(setup: Setup, taken_out: list[Path], rng: random.Random, values: int) -> Iterator[str]:
    """What is wrong with the plan of `setup` without some keys, beside `values` descriptions that it leaves open."""
    half = without(setup, taken_out)
    assumptions = complete(half.machine, half.job).assumptions
    if not assumptions:
        return
    try:
        plan = plan_job(half)
    except LimitExceededError:
        return
    for _ in range(values):
        machine, job = with_assumed(half.machine, half.job, [(each, somewhere(each, rng)) for each in assumptions])
        whole = Setup(job, machine)
        yield from kinder(plan.limits, on(whole, plan))
        same = plan_job(as_moved(whole, plan))
        if same.segments == plan.segments and same.route.one_side == plan.route.one_side:
            yield from kinder_seams(plan.seams, same.seams)
    if len(taken_out) > 1:
        yield from quicker(plan, whole)


def quicker(plan: JobPlan, whole: Setup) -> Iterator[str]:
    """Whether a plan is quicker than a described machine's own.

    That no plan is follows from what is looked at above: its motion keeps every limit there, and settles there as soon.
    """
    try:
        found = plan_job(whole)
    except LimitExceededError as error:
        yield f"is planned, described not: {error}"
        return
    alike = np.array_equal(found.route.index_turns, plan.route.index_turns)  # take-ups go by the lost motion
    if alike and found.index_s > plan.index_s * (1 + _SEARCH):
        yield f"an index takes {plan.index_s:.6g} s, described {found.index_s:.6g} s"


def faults_of(kind: str, seed: int, alone: int | None = ALONE) -> list[str]:
    """Keys taken out of a random machine: `alone` of them (None: every one) one at a time, half of them, and all."""
    setup, rng = described(kind, seed), random.Random(seed)
    try:
        plan_job(setup)
    except LimitExceededError:
        return []
    needed = {("part", "mass")} if setup.job.part.mass is not None else {("part", "density"), ("part", "material")}
    keys = [*optional_paths(setup.machine), *(("part", *path) for path in optional_paths(setup.job.part))]
    keys = [key for key in keys if key not in needed and key[0] not in ("link", "tolerances")]
    chosen = [[key] for key in rng.sample(keys, len(keys) if alone is None else alone)] + [
        rng.sample(keys, len(keys) // 2),
        keys,
    ]
    return [
        f"without {key if rest == [] else f'{1 + len(rest)} keys'}: {fault}"
        for key, *rest in chosen
        for fault in faults(setup, [key, *rest], rng, 1 if rest == [] else 2)
    ]


@pytest.mark.some(1)
@pytest.mark.parametrize("kind", JOBS)
def test_no_half_described_machine_is_planned_quicker_or_judged_kinder(kind: str) -> None:
    assert faults_of(kind, seed=1) == []


@pytest.mark.slow
@pytest.mark.parametrize("kind", JOBS)
def test_no_single_key_that_is_left_out_makes_a_machine_quicker_or_kinder(kind: str) -> None:
    assert faults_of(kind, seed=2, alone=None) == []


@pytest.mark.slow
@pytest.mark.parametrize("kind", JOBS)
def test_none_of_five_hundred_half_described_machines_is(kind: str) -> None:
    assert [(seed, *found) for seed in range(100) if (found := faults_of(kind, seed))] == []


def test_what_could_lose_steps_or_drop_a_part_and_has_no_range_stops() -> None:
    half = without(load_job("shaft-scale"), [("support", "largest_overhang_moment")])
    assert plan_job(half).limits.verdict is Verdict.NOT_KNOWN
