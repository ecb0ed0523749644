"""Reports of what was done: a run, a batch, the commissioning of a machine."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from firmware_host.commissioning.record import CommissionEvent
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.reporting.measuring.record import record_document
from firmware_host.reporting.pictures.drawn import drawn
from firmware_host.reporting.pictures.of_run.registry import RUN_PICTURES
from firmware_host.reporting.pictures.of_run.subject import run_subject
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import picture_named
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.report.report import Chapter, Report, first_lines, sources_of
from firmware_host.reporting.runs.batch import batch_document
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.listing import listed_batch
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.listing import read_record
from firmware_host.station.runs.status import run_status_if_readable

_OF_A_RUN = ("unrolled", "index", "margins")


def run_report(folder: RunFolder, made: datetime) -> Report:
    """What became of each pass of a run, beside the plan that it was run by. Raises as `read_record`, `plan_job`."""
    record, status = read_record(folder), run_status_if_readable(folder)
    document = run_document(record, status=status)
    setup = folder.load_setup()
    plan = plan_job(setup)
    went = run_subject(folder, plan)
    pictures = tuple(drawn(each, went) for each in RUN_PICTURES if not each.missing(went))
    return Report(
        title=f"Run of {record.job}",
        asked=(f"Machine: {setup.machine.name}.", f"Folder: {folder.path.name}."),
        answer=first_lines(document),
        verdict="",
        chapters=(
            Chapter("What was done", document),
            *((Chapter("As it went", pictures=pictures),) if pictures else ()),
            *_planned(setup, plan),
        ),
        sources=sources_of((folder.journal, folder.setup, folder.record)),
        made=made,
    )


def batch_report(folder: BatchFolder, made: datetime) -> Report:
    """What became of each part of a batch."""
    document = batch_document(listed_batch(folder.path))
    setup = folder.kept.load_setup()
    return Report(
        title=f"Batch of {setup.job.name}",
        asked=(f"Machine: {setup.machine.name}.", f"Folder: {folder.path.name}."),
        answer=first_lines(document),
        verdict="",
        chapters=(Chapter("Part by part", document), *_planned(setup, plan_job(setup))),
        sources=sources_of((folder.journal, folder.kept.setup, folder.parts)),
        made=made,
    )


def commissioning_report(path: Path, events: Sequence[CommissionEvent], made: datetime) -> Report:
    """What was measured of a machine, every reading, formula and uncertainty; `path`: the record's file."""
    document = record_document(events)
    return Report(
        title=f"Commissioning: {path.stem}",
        asked=("What was measured of the machine that was really built.",),
        answer=first_lines(document),
        verdict="",
        chapters=(Chapter("What was found", document),),
        sources=sources_of((path,)),
        made=made,
    )


def _planned(setup: Setup, plan: JobPlan) -> tuple[Chapter, ...]:
    of = Subject.of(setup, plan)
    pictures = tuple(drawn(picture_named(key), of) for key in _OF_A_RUN)
    return (
        Chapter("As planned", pictures=pictures),
        Chapter("Limits", limits_document(plan.limits)),
    )
