"""A half-described machine is never planned quicker, nor judged kinder, than with any value of what it leaves open."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from firmware_host.errors import LimitExceededError
from firmware_host.model.files.loading import Setup, load_job
from firmware_host.planning.assume.complete import complete, with_assumed
from firmware_host.planning.limit_report import LimitReport, check_limits
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import JobPlan, plan_job
from tests.planning.assume.half import JOBS, Path, described, optional_paths, somewhere, without

NO_OTHER_CHECK = {"mass"}
"""Of two figures that are compared: without one of them there is nothing to compare."""

_ROUNDING = 1e-6
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
        elif found.verdict.gravity < check.verdict.gravity:
            yield f"{check.name} {found.verdict}, described {check.verdict}"
        elif found.margin is not None and check.margin is not None:
            room = _ROUNDING * (1 + abs(check.margin)) if abs(check.margin) < float("inf") else 0.0
            if found.margin > check.margin + room:
                yield f"{check.name} margin {found.margin:.6g}, described {check.margin:.6g}"
    if half.motion.timing.settle_s < whole.motion.timing.settle_s * (1 - _ROUNDING) - 1e-9:
        yield f"settles {half.motion.timing.settle_s:.6g} s, described {whole.motion.timing.settle_s:.6g} s"


def faults(setup: Setup, taken_out: list[Path], rng: random.Random, values: int) -> Iterator[str]:
    """What is wrong with the plan of `setup` without some keys, beside `values` descriptions that it leaves open."""
    half = without(setup, taken_out)
    try:
        plan = plan_job(half)
    except LimitExceededError:
        return
    assumptions = complete(half.machine, half.job).assumptions
    for _ in range(values if assumptions else 0):
        machine, job = with_assumed(half.machine, half.job, [(each, somewhere(each, rng)) for each in assumptions])
        whole = Setup(job, machine)
        yield from kinder(plan.limits, on(whole, plan))
        try:
            found = plan_job(whole)
        except LimitExceededError as error:
            yield f"is planned, described not: {error}"
            continue
        if found.index_s > plan.index_s * (1 + _SEARCH) and found.layout == plan.layout:
            yield f"an index takes {plan.index_s:.6g} s, described {found.index_s:.6g} s"


def faults_of(kind: str, seed: int) -> list[str]:
    """Every optional key taken out of a random machine, one at a time and all at once."""
    setup, rng = described(kind, seed), random.Random(seed)
    try:
        plan_job(setup)
    except LimitExceededError:
        return []
    needed = {("part", "mass")} if setup.job.part.mass is not None else {("part", "density"), ("part", "material")}
    keys = [*optional_paths(setup.machine), *(("part", *path) for path in optional_paths(setup.job.part))]
    keys = [key for key in keys if key not in needed and key[0] not in ("link", "tolerances")]
    chosen = [[key] for key in keys] + [rng.sample(keys, len(keys) // 2), keys]
    return [
        f"without {key if rest == [] else f'{1 + len(rest)} keys'}: {fault}"
        for key, *rest in chosen
        for fault in faults(setup, [key, *rest], rng, 1 if rest == [] else 4)
    ]


@pytest.mark.parametrize("kind", JOBS)
def test_no_half_described_machine_is_planned_quicker_or_judged_kinder(kind: str) -> None:
    assert faults_of(kind, seed=1) == []


@pytest.mark.slow
@pytest.mark.parametrize("kind", JOBS)
def test_none_of_five_hundred_half_described_machines_is(kind: str) -> None:
    assert [(seed, *found) for seed in range(100) if (found := faults_of(kind, seed))] == []


def test_what_could_lose_steps_or_drop_a_part_and_has_no_range_stops() -> None:
    half = without(load_job("shaft-scale"), [("support", "largest_overhang_moment")])
    assert plan_job(half).limits.verdict is Verdict.NOT_KNOWN
