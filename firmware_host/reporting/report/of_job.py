"""The report of a job: what was asked, whether it may turn, and everything that this rests on."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from firmware_host.model import Setup
from firmware_host.model.machine.motor import Motor
from firmware_host.planning.compare.advice import advised
from firmware_host.planning.compare.motors import compare_motors
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.planning.reliability.estimate import Reliability
from firmware_host.reporting.document import Document
from firmware_host.reporting.measures import Units, counted, percent
from firmware_host.reporting.pictures.drawn import drawn
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import PICTURES
from firmware_host.reporting.plans.first.plan import plan_document
from firmware_host.reporting.plans.first.words import count_assumed
from firmware_host.reporting.plans.motors import motors_document
from firmware_host.reporting.plans.reliability import reliability_section
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.report.planned import asked, limits, measured, what_binds
from firmware_host.reporting.report.report import Chapter, Report, first_lines, sources_of


def job_report(
    setup: Setup,
    made: datetime,
    motors: Mapping[str, Motor],
    *,
    units: Units = Units.METRIC,
    plan: JobPlan | None = None,
) -> Report:
    """Everything that `segments`, `limits`, `motors` and the pictures say of a job, in one report.

    `motors`: the candidates to compare, by name; `made`: the date on the report. Raises as `plan_job`.
    """
    plan = plan if plan is not None else plan_job(setup)
    of = Subject.of(setup, plan)
    pictures = tuple(drawn(each, of) for each in PICTURES if not each.missing(of))
    candidates = compare_motors(setup, motors)
    return Report(
        title=setup.job.name,
        asked=asked(setup),
        answer=first_lines(plan_document(setup, plan, units)),
        verdict_of="Together the limits",
        verdict=plan.limits.verdict.value,
        binds=what_binds(plan, units),
        reliability=_reliable(of.doubt, count_assumed(plan.layout)),
        chapters=(
            Chapter("Pictures", pictures=pictures),
            Chapter("Segments and seams", segments_document(plan.layout, units)),
            *limits(setup, plan, advised(setup, plan, motors), units),
            Chapter("Candidates compared", motors_document(candidates, setup.job.accept, setup.machine.motor)),
            Chapter("Sensitivity: which uncertain datum matters", Document((reliability_section(of.doubt),))),
            measured(setup, plan),
        ),
        sources=sources_of((setup.job_source, setup.machine_source)),
        made=made,
    )


def _reliable(found: Reliability, assumed: int) -> tuple[str, ...]:
    low, high = found.chance.interval
    most = found.influences[0]
    return (
        f"Reliability: {found.verdict.value}. No step is lost and nothing slips with a probability between {low:.5f} "
        f"and {high:.5f}, each uncertain datum anywhere in its range.",
        f"What matters most is {most.input.name.replace('_', ' ')}: {percent(most.share)} of the doubt.",
        f"Assumed, because nobody stated it: {counted(assumed, 'datum', 'data') if assumed else 'nothing'}.",
    )
