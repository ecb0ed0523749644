"""Holds what the program says of a pair against the recomputation of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import isclose, pi
from typing import Any

import firmware_host as fh
from firmware_host.errors import FormulaRangeError
from tests.independent.corners import corners, windings, worst
from tests.independent.drawing import Table
from tests.independent.pairs import pair
from tests.independent.recompute.facts import Facts, Motion
from tests.independent.recompute.registry import NOT_YET_RECOMPUTED, RECOMPUTED
from tests.independent.recompute.torsion import spanned
from tests.independent.recompute.verdict import Found
from tests.independent.values import contact, si

PEAKS_SAMPLED = 5e-4
"""The recomputed peaks are the largest of samples of frequency and damping: a little less than the true ones."""

_BESIDE = ("bodies", "mass_offset_angle")


@dataclass
class Comparison:
    """Of many pairs: disagreements in words, how often each limit came to each verdict, what wasn't planned and why."""

    differences: list[str] = field(default_factory=list)
    verdicts: Counter[tuple[str, str]] = field(default_factory=Counter)
    planned: int = 0
    refused: Counter[str] = field(default_factory=Counter)


def plan_of(machine: Table, job: Table) -> fh.JobPlan:
    """The program's plan of two plain tables."""
    return fh.plan_job(fh.job_from(job, machine=fh.Machine.model_validate(machine)))


def planned(machine: Table, job: Table, comparison: Comparison) -> tuple[Table, Table, fh.JobPlan]:
    """The plan, its machine and its job: where the drawn ones are refused, with what is in the way taken out."""
    try:
        return machine, job, plan_of(machine, job)
    except fh.FirmwareHostError as error:
        comparison.refused[type(error).__name__] += 1
        if "swing.frequency" in str(error):
            machine = {key: value for key, value in machine.items() if key != "swing"}
        elif "mass" in str(error) and "bodies" in job["part"]:
            job = job | {"part": {key: value for key, value in job["part"].items() if key not in _BESIDE}}
        elif "keep-out" in str(error):
            job = job | {"part": {key: value for key, value in job["part"].items() if key != "keep_out"}}
        elif isinstance(error, FormulaRangeError):
            raise
        elif isinstance(error, fh.PlanError) and job["segments"]:
            job = job | {"segments": {}}
        elif isinstance(error, fh.PlanError) and "axis" in machine:
            machine = {key: value for key, value in machine.items() if key != "axis"}
        elif isinstance(error, fh.PlanError) and job["mark"].get("width") != "0.1 mm":
            job = job | {"mark": job["mark"] | {"width": "0.1 mm"}}
        elif "speed" in job["index"]:
            raise
        else:
            job = job | {"index": job["index"] | {"speed": "1.5 rad/s", "acceleration": "8 rad/s^2"}}
    return planned(machine, job, comparison)


def compare(seeds: Iterable[int]) -> Comparison:
    """Plan and recompute each pair."""
    comparison = Comparison()
    for seed in seeds:
        machine, job = pair(seed)
        try:
            machine, job, plan = planned(machine, job, comparison)
        except FormulaRangeError as error:
            if not falls_through(machine, job):
                comparison.differences.append(f"pair {seed}: {error}")
            continue
        comparison.planned += 1
        if falls_through(machine, job):
            comparison.differences.append(f"pair {seed}: planned, but the part falls through")
        facts = spanned([facts_of(*each, plan) for each in corners(machine, job, plan)])
        for each in facts:
            each.windings = windings(machine, plan)
        _compare_plan(seed, facts, plan, comparison)
    return comparison


def falls_through(machine: Table, job: Table) -> bool:
    """Whether the part passes between the two rows."""
    drive = machine["drive"]
    if drive["kind"] != "rollers":
        return False
    return si(drive["centre_distance"]) >= contact(job["part"]) + si(drive["roller_diameter"])


def facts_of(machine: Table, job: Table, plan: fh.JobPlan) -> Facts:
    """Machine, job and the plan's motion for the recomputation."""
    motion = plan.limits.motion
    lengths = [float(turns) * 2 * pi for turns in plan.route.index_turns if turns > 0]
    return Facts(machine, job, Motion(motion.speed, motion.acceleration, lengths))


def _compare_plan(seed: int, facts: list[Facts], plan: fh.JobPlan, comparison: Comparison) -> None:
    shown = {check.name: check for check in plan.limits.checks}
    accepted = facts[0].job.get("accept", {})
    found = {name: worst(limit, facts) for name, limit in RECOMPUTED.items()}
    found = {name: own and replace(own, accepted=name in accepted) for name, own in found.items()}
    if len(facts[0].motion.may_cruise) > 1:  # whether it cruises hangs on the last digit
        for name in ("resonance", "mid-range"):
            shown.pop(name, None), found.pop(name, None)
    for name in sorted((shown.keys() | found.keys()) - NOT_YET_RECOMPUTED.keys()):
        check = shown.get(name)
        comparison.differences += [f"pair {seed}: {name}: {text}" for text in disagreements(check, found.get(name))]
        if check is not None:
            comparison.verdicts[name, check.verdict.value] += 1


def disagreements(check: Any, found: Found | None) -> list[str]:
    """In words; none where the program's check and the recomputed one agree."""
    if check is None or found is None:
        return [] if check is found else [f"{'not shown' if check is None else 'not recomputed'}: {found or check}"]
    texts = []
    if check.verdict.value not in found.verdicts():
        texts.append(f"{check.verdict.value} ({check.value}, {check.limit}), recomputed {found}")
    most = found.most.value if found.most is not None and found.within < 1 else None
    for what, shown, own in (("value", check.value, found.value), ("limit", check.limit, found.limit)):
        if shown is None or own is None:
            if check.verdict.value not in ("not known", "accepted"):
                texts.append(f"{what} {shown}, recomputed {own}")
        elif what == "value" and most is not None:
            least, most = min(own, most) * (1 - PEAKS_SAMPLED), max(own, most) * (1 + PEAKS_SAMPLED)
            if not least <= shown <= most:
                texts.append(f"value {shown:.10g}, recomputed at least {own:.10g}, at most {most:.10g}")
        elif not isclose(shown, own, rel_tol=found.within, abs_tol=1e-12):
            texts.append(f"{what} {shown:.10g}, recomputed {own:.10g}")
    return texts
