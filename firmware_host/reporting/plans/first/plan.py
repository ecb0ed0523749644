"""A whole plan in a few lines, as they stand before a run begins."""

from __future__ import annotations

from firmware_host.model.files.loading import Setup
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.document import Document, Notes
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.first.limits import time_of, verdict_of_all
from firmware_host.reporting.plans.first.segments import how_many, look_of_seams
from firmware_host.reporting.plans.first.words import caution, count_assumed


def plan_document(setup: Setup, plan: JobPlan, units: Units = Units.METRIC) -> Document:
    """What is turned, in how many segments, how the seams will look, whether it may turn, and how long that takes."""
    limits = plan.limits
    return Document(
        (
            Notes(
                (
                    f"Job: {setup.job.name}. Machine: {setup.machine.name}.",
                    how_many(plan.segments, units),
                    *look_of_seams(plan.seams, units),
                    *verdict_of_all(limits, limits.verdict),
                    time_of(limits.motion),
                    caution(count_assumed(plan.layout)),
                )
            ),
        )
    )
