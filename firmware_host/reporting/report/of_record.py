"""Reports of what was done by a job: a run, a batch."""

from __future__ import annotations

from datetime import datetime

from firmware_host.errors import FirmwareHostError
from firmware_host.planning.plan import plan_job
from firmware_host.reporting.measures import Units
from firmware_host.reporting.pictures.drawn import drawn
from firmware_host.reporting.pictures.of_run.registry import RUN_PICTURES
from firmware_host.reporting.pictures.of_run.subject import RunSubject, run_subject
from firmware_host.reporting.report.beside import parts_times_document, run_times_document
from firmware_host.reporting.report.planned import as_planned, asked, measured, what_binds
from firmware_host.reporting.report.report import Chapter, Report, first_lines, sources_of
from firmware_host.reporting.runs.batch import batch_document, counted
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.listing import listed_batch
from firmware_host.station.batch.record import BatchRecord
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.listing import read_record
from firmware_host.station.runs.status import run_status_if_readable

_MOST_PARTS = 30
"""Of a batch: each part is planned anew for its own diameter, which takes a tenth of a second."""
_NOT_STOOD = "It came to no standstill at a segment: nothing tells how exactly it would stand."
_OF_A_BATCH = "How exactly each part stood is told by the report of its own run."


def run_report(folder: RunFolder, made: datetime, units: Units = Units.METRIC) -> Report:
    """What became of each pass of a run, beside the plan that it was run by. Raises as `read_record`, `plan_job`."""
    record, status = read_record(folder), run_status_if_readable(folder)
    document = run_document(record, status=status)
    setup = folder.load_setup()
    plan = plan_job(setup)
    went = run_subject(folder, plan)
    pictures = tuple(drawn(each, went) for each in RUN_PICTURES if not each.missing(went))
    return Report(
        title=f"Run of {record.job}",
        asked=(*asked(setup), f"Folder: {folder.path.name}."),
        answer=first_lines(document),
        verdict_of="The run",
        verdict=status.state if status is not None else record.outcome,
        binds=what_binds(plan, units),
        reliability=(pictures[0].words if pictures else _NOT_STOOD,),
        chapters=(
            Chapter("What was done", document),
            *((Chapter("As it went", pictures=pictures),) if pictures else ()),
            Chapter("Index times: planned beside measured", run_times_document(went)),
            measured(setup, plan),
            *as_planned(setup, plan, units),
        ),
        sources=sources_of((folder.journal, folder.setup, folder.record)),
        made=made,
    )


def batch_report(folder: BatchFolder, made: datetime, units: Units = Units.METRIC) -> Report:
    """What became of each part of a batch. Raises as `plan_job`."""
    listed = listed_batch(folder.path)
    document = batch_document(listed)
    setup = folder.kept.load_setup()
    plan = plan_job(setup)
    went, left_out = _runs(folder, listed.record)
    return Report(
        title=f"Batch of {setup.job.name}",
        asked=(*asked(setup), f"Folder: {folder.path.name}."),
        answer=first_lines(document),
        verdict_of="The batch",
        verdict=listed.state,
        binds=what_binds(plan, units),
        reliability=(*((f"Of its parts: {counted(listed.record)}",) if listed.record is not None else ()), _OF_A_BATCH),
        chapters=(
            Chapter("Part by part", document),
            Chapter("Index times: planned beside measured", parts_times_document(went, left_out)),
            measured(setup, plan),
            *as_planned(setup, plan, units),
        ),
        sources=sources_of((folder.journal, folder.kept.setup, folder.parts)),
        made=made,
    )


def _runs(folder: BatchFolder, record: BatchRecord | None) -> tuple[list[tuple[str, RunSubject]], int]:
    """The runs of the first parts, by the parts' names; how many were left out, damaged ones among them."""
    parts = [each for each in (record.parts if record is not None else ()) if each.run]
    found = []
    for part in parts[:_MOST_PARTS]:
        try:
            run = RunFolder.existing(folder.path / str(part.run))
            found.append((str(part.part), run_subject(run)))
        except FirmwareHostError:
            continue  # `runs verify` says what is wrong with it; the others are no worse for it
    return found, len(parts) - len(found)
