"""Running a batch on a station that is open, and resuming one that was stopped or crashed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from firmware_host.errors import DamagedRunError, InputError, JournalError, RunNotBegunError
from firmware_host.model import Setup
from firmware_host.model.files.parts import PartRow
from firmware_host.station.batch.book import Book
from firmware_host.station.batch.events import BATCH_FORM, BatchBegin, BatchResume
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.loop import BatchLoop, BatchWays
from firmware_host.station.batch.planned import PartPlans
from firmware_host.station.batch.record import BatchRecord, batch_record
from firmware_host.station.batch.state import BatchState, replay_batch
from firmware_host.station.journal.journal import events_of, in_use
from firmware_host.station.passes.station import Station
from firmware_host.station.stop_request import stopped_while


def run_parts(
    setup: Setup, rows: tuple[PartRow, ...], station: Station, folder: BatchFolder, ways: BatchWays
) -> BatchRecord:
    """Run a batch from its first part, in a new folder; returns the record of one that came to its end.

    Every row is read before anything begins (`InputError`); each part is planned, limits and all, when it is put in.
    Raises as `BatchLoop.run`; the batch can be resumed then.
    """
    if folder.journal.exists():
        raise JournalError(str(folder.journal), "holds a batch already. Resume it, or run in a new folder")
    plans = PartPlans(setup, ways.accepted, check=station.stop.check)
    with stopped_while("reading the parts"):
        plans.require_readable(rows)
    setup_digest, parts_digest = folder.save(setup, rows)
    with Book(folder, station.clock) as book:
        book.note(
            BatchBegin(
                setup_digest=setup_digest,
                parts_digest=parts_digest,
                job=setup.job.name,
                machine=setup.machine.name,
                port=station.controller.url,
                parts=len(rows),
                released=ways.release,
                writes_settings=ways.write_settings is not None,
                marking=station.gate.marks,
                accepted=dict(ways.accepted),
            )
        )
        return BatchLoop(rows, plans, station, folder, book, ways).run()


@dataclass(frozen=True)
class ResumableBatch:
    """A batch that did not come to its end, with the setup and the parts that it began with."""

    folder: BatchFolder
    state: BatchState
    begin: BatchBegin
    setup: Setup
    rows: tuple[PartRow, ...]

    @classmethod
    def read(cls, folder: BatchFolder) -> ResumableBatch:
        """Read a batch's folder. Changes nothing, but the record of a batch that is done is saved.

        Raises `RunNotBegunError` where nothing was moved, `JournalError` for files that are damaged, in use, or not
        those that the batch began with, `InputError` when nothing is left.
        """
        if in_use(folder.journal):
            raise JournalError(str(folder.journal), "another process is at work on this batch")
        state = replay_batch(events_of(folder.journal, BATCH_FORM))
        if state.begin is None:
            problem = "nothing was moved: the batch ended before the first line of its journal"
            raise RunNotBegunError(problem, "Start the job again", source=str(folder.path))
        if state.begin.setup_digest != folder.kept.setup_digest():
            raise DamagedRunError(str(folder.kept.setup), "was changed since the batch began. Start the job again")
        if state.begin.parts_digest != folder.parts_digest():
            raise DamagedRunError(str(folder.parts), "was changed since the batch began. Start the job again")
        rows = folder.load_parts()
        if len(rows) != state.begin.parts:
            raise DamagedRunError(str(folder.parts), f"holds {len(rows)} parts, and the batch has {state.begin.parts}")
        if state.outcome == "done":
            batch_record(state, rows).save(folder.record, folder.times)
            raise InputError("the batch is done: nothing is left", "Start the job again", source=str(folder.path))
        return cls(folder, state, state.begin, folder.kept.load_setup(), rows)


def resume_parts(found: ResumableBatch, station: Station, ways: BatchWays) -> BatchRecord:
    """Resume a batch at the right part, segment and pass; raises as `BatchLoop.run`.

    Limits that were accepted when it began are accepted, those of `ways` besides; the motor is let go between parts if
    either says so; settings are written only if that was asked for when it began. `InputError` when a batch without
    marking would be resumed with marking, or the other way round.
    """
    if found.begin.marking != station.gate.marks:
        how = "with" if found.begin.marking else "without"
        raise InputError(
            f"the batch was begun {how} marking", f"Resume it {how} marking", source=str(found.folder.path)
        )
    accepted = {**found.begin.accepted, **ways.accepted}
    write = ways.write_settings if found.begin.writes_settings else None
    ways = replace(ways, accepted=accepted, release=ways.release or found.begin.released, write_settings=write)
    with Book(found.folder, station.clock) as book:
        if book.state().lines != found.state.lines:
            raise JournalError(str(found.folder.journal), "was continued by another process meanwhile")
        plans = PartPlans(found.setup, accepted, check=station.stop.check)
        book.note(BatchResume())
        return BatchLoop(found.rows, plans, station, found.folder, book, ways).run()
