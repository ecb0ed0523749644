"""A whole plan as a value: compared by what is in it, shown in one line, its index time at hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firmware_host.model import load_job
from firmware_host.planning.plan import JobPlan, plan_job


@pytest.fixture(scope="module")
def plan() -> JobPlan:
    return plan_job(load_job("shaft-scale"))


def test_two_plans_of_the_same_job_are_equal_and_those_of_others_are_not(plan: JobPlan) -> None:
    again = plan_job(load_job("shaft-scale"))
    assert again == plan
    assert again.layout == plan.layout
    assert plan_job(load_job("bottle-band")) != plan
    assert plan != "a plan"


def test_a_single_number_in_an_array_makes_plans_differ(plan: JobPlan) -> None:
    gap = plan.seams.gap.copy()
    gap[-1] = np.nextafter(gap[-1], 1.0)
    moved = replace(plan, layout=replace(plan.layout, seams=replace(plan.seams, gap=gap)))
    assert moved != plan
    assert moved == replace(moved)
    assert replace(plan, settle_s=plan.settle_s + 1e-12) != plan


def test_a_plan_is_shown_in_one_line(plan: JobPlan) -> None:
    assert repr(plan) == "<JobPlan: 6 segments of 22.92 deg, 0.1811 s an index, limits: holds>"
    assert repr(plan.layout) == "<Layout: 6 segments of 22.92 deg>"


def test_the_index_time_is_that_of_the_chosen_motion_with_its_settling(plan: JobPlan) -> None:
    timing = plan.limits.motion.timing
    assert plan.index_s == timing.move_s + timing.settle_s
