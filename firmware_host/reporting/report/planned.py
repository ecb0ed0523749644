"""What every report of a job, or of something done by it, says of the plan: what was asked, what binds, the limits."""

from __future__ import annotations

from firmware_host.model import Setup
from firmware_host.model.files.origins import origins_of
from firmware_host.planning.compare.inputs import explain_checks
from firmware_host.planning.compare.measured import predicted_beside_measured
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.measures import Units
from firmware_host.reporting.pictures.drawn import drawn
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import picture_named
from firmware_host.reporting.plans.first.limits import margin_of, value_and_limit
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.plans.why import why_document
from firmware_host.reporting.report.beside import machine_document
from firmware_host.reporting.report.report import Chapter

_SHORT = ("unrolled", "index", "margins")


def asked(setup: Setup) -> tuple[str, ...]:
    """Part, mark and machine, a line each."""
    part, mark = setup.job.part, setup.job.mark
    around = f"{mark.arc} around" if mark.arc is not None else f"{mark.angle} around"
    return (
        f"Part: {part.kind}, {part.diameter} across, {part.whole_length} long.",
        f"Mark: {around}, {mark.passes} {'pass' if mark.passes == 1 else 'passes'} for each segment.",
        f"Machine: {setup.machine.name}.",
    )


def what_binds(plan: JobPlan, units: Units) -> tuple[str, ...]:
    """The limit with the least left, and what keeps the segments from being wider."""
    widest = f"How wide a segment may be is bound by {plan.segments.window.binding.name}."
    tightest = plan.limits.tightest
    if tightest is None:
        return ("No limit is known.", widest)
    value, limit = value_and_limit(tightest, units)
    return (f"{tightest.name}: {value} where {limit} is the limit, margin {margin_of(tightest)}.", widest)


def as_planned(setup: Setup, plan: JobPlan, units: Units) -> tuple[Chapter, ...]:
    """The plan beside what was done by it: its pictures, and its limits."""
    of = Subject.of(setup, plan)
    pictures = tuple(drawn(picture_named(key), of) for key in _SHORT)
    return (Chapter("As planned", pictures=pictures), *limits(setup, plan, plan.limits, units))


def limits(setup: Setup, plan: JobPlan, report: LimitReport, units: Units) -> tuple[Chapter, ...]:
    """Every limit, and behind it formula, inputs, where they came from, and source."""
    why = why_document(explain_checks(setup, plan), origins_of(setup), units)
    return (
        Chapter("Limits", limits_document(report, units=units)),
        Chapter("Limits: formula, inputs and source", why, first=True),
    )


def measured(setup: Setup, plan: JobPlan) -> Chapter:
    """What the machine's data predict, beside what follows with what was measured on it."""
    return Chapter("Predicted beside measured", machine_document(predicted_beside_measured(setup, plan)))
