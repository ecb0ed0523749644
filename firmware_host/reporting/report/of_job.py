"""The report of a job: what was asked, whether it may turn, and everything that this rests on."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from firmware_host.model import Setup
from firmware_host.model.files.origins import origins_of
from firmware_host.model.machine.motor import Motor
from firmware_host.planning.compare.advice import advised
from firmware_host.planning.compare.inputs import explain_checks
from firmware_host.planning.compare.motors import compare_motors
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.reporting.measures import Units
from firmware_host.reporting.pictures.drawn import drawn
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import PICTURES
from firmware_host.reporting.plans.first.plan import plan_document
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.plans.motors import motors_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.plans.why import why_document
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
        asked=_asked(setup),
        answer=first_lines(plan_document(setup, plan, units)),
        verdict=plan.limits.verdict.value,
        chapters=(
            Chapter("Pictures", pictures=pictures),
            Chapter("Segments and seams", segments_document(plan.layout, units)),
            Chapter("Limits", limits_document(advised(setup, plan, motors), units=units)),
            Chapter(
                "Limits: formula, inputs and source",
                why_document(explain_checks(setup, plan), origins_of(setup), units),
                first=True,
            ),
            Chapter("Motors compared", motors_document(candidates, setup.job.accept, setup.machine.motor)),
        ),
        sources=sources_of((setup.job_source, setup.machine_source)),
        made=made,
    )


def _asked(setup: Setup) -> tuple[str, ...]:
    part, mark = setup.job.part, setup.job.mark
    around = f"{mark.arc} around" if mark.arc is not None else f"{mark.angle} around"
    return (
        f"Part: {part.kind}, {part.diameter} across, {part.whole_length} long.",
        f"Mark: {around}, {mark.passes} {'pass' if mark.passes == 1 else 'passes'} for each segment.",
        f"Machine: {setup.machine.name}.",
    )
