"""The batch: part after part, each a run of its own on the open controller, each step journalled before it is done."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from firmware_host.acts import Act, Resume, Run
from firmware_host.errors import ControllerError, FirmwareHostError, JournalError, RunStoppedError
from firmware_host.model.files.parts import PartRow
from firmware_host.station.batch.between import Between, context_of
from firmware_host.station.batch.book import Book
from firmware_host.station.batch.events import (
    BatchEnd,
    Judged,
    PartBegin,
    PartDone,
    PartResult,
    Redo,
)
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.next_zero import NextZero, next_zero, same_zero
from firmware_host.station.batch.planned import PartPlans, PlannedPart
from firmware_host.station.batch.record import BatchRecord, batch_record
from firmware_host.station.batch.side import AloneSide, BatchSide, Good, Scrap, Stop
from firmware_host.station.batch.state import PartState, Stage
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import replay
from firmware_host.station.note_failure import note_failure
from firmware_host.station.passes.choice import EVERY_PASS, PassChoice
from firmware_host.station.passes.motion import outcome_of
from firmware_host.station.passes.station import Station
from firmware_host.station.resume import AskWhetherDone, resume_run
from firmware_host.station.run import run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.stop_request import stopped_run
from firmware_host.station.zero import AskZero, ZeroAt

WriteSettings = Callable[[PlannedPart, Station], object]
"""Writes the settings that a part's plan needs, once nothing else refuses its run."""


@dataclass(frozen=True)
class BatchWays:
    """How a batch is done. `side` answers between parts; `ask`: whether a pass of unknown end is done.

    `release`: the motor is let go while a part is changed; `zero`: where the zero of the first part is, or of the one
    that is resumed; `ask_zero`: as `run_job`; `accepted`: limits accepted besides the job's own, by name, with reasons.
    """

    side: BatchSide = field(default_factory=AloneSide)
    ask: AskWhetherDone | None = None
    release: bool = False
    zero: ZeroAt | None = None
    ask_zero: AskZero | None = None
    write_settings: WriteSettings | None = None
    accepted: Mapping[str, str] = field(default_factory=dict)


class BatchLoop:
    """One go at the parts that are left. `rows`: all parts of the batch; the journal is open for writing."""

    def __init__(
        self,
        rows: tuple[PartRow, ...],
        plans: PartPlans,
        station: Station,
        folder: BatchFolder,
        book: Book,
        ways: BatchWays,
    ) -> None:
        self._rows, self._plans, self._station, self._folder = rows, plans, station, folder
        self._book, self._ways = book, ways
        self._between = Between(
            station,
            book,
            ways.side,
            plans,
            release=ways.release,
            writes_settings=ways.write_settings is not None,
        )
        self._zero = ways.zero
        """What was said of the zero, for the first run of this go."""
        self._opened = False
        """Whether the controller is open since before the last run."""

    def run(self) -> BatchRecord:
        """Do the parts that are left; returns the record of a batch that came to its end.

        Raises as `run_job` and `resume_run`, and `RunStoppedError` at a wish to stop; the batch can be resumed then.
        """
        path = str(self._folder.path)
        try:
            with stopped_run(path):
                try:
                    while (part := self._book.state().next) is not None:
                        self._step(part)
                except BaseException as error:
                    self._end_failed(error)
                    raise
        except RunStoppedError as error:
            raise RunStoppedError(error.reason, path) from error
        except FirmwareHostError as error:
            error.acts = tuple(map(self._of_batch, error.acts))
            raise
        self._book.note(BatchEnd(outcome="done"))
        return self._save()

    def _step(self, part: PartState) -> None:
        """One step with the first part that isn't over."""
        if part.stage is Stage.TO_DO:
            self._begin(part)
        elif part.stage is Stage.RUNNING:
            self._pick_up(part)
        else:
            self._judge(part)

    # --- a part ----------------------------------------------------------------------------------------------------

    def _begin(self, part: PartState) -> None:
        """Let the part be put in, and run it."""
        row, state = self._rows[part.number - 1], self._book.state()
        said, opened = self._zero, self._opened
        zero = next_zero(self._plans.setup, self._station, self._folder, state, said=said, opened=opened)
        if zero.unproved and not self._ways.side.sees:
            raise self._not_proved(row, zero)
        ready = self._between.next_part(row, len(self._rows), zero, state)
        if ready is None:
            return
        planned, zero = ready
        run = self._folder.new_run(row.number)
        self._book.note(
            PartBegin(
                number=row.number,
                run=run.path.name,
                zero=zero.zero,
                diameter=planned.diameter,
                planned_s=round(planned.turning_s, 3),
                base_steps=zero.base_steps,
                turns=zero.turns,
            )
        )
        self._run(planned, run, zero)
        self._book.note(PartDone(number=row.number, run=run.path.name))

    def _not_proved(self, row: PartRow, zero: NextZero) -> ControllerError:
        return ControllerError(
            f"where part {row.number} stands cannot be proved: {zero.because}. See that it stands at the job's zero, "
            "turn it there by hand if it doesn't, and say so when you resume the batch",
            acts=(Resume(str(self._folder.path), zero="here"),),
        )

    def _run(self, planned: PlannedPart, run: RunFolder, zero: NextZero, again: PassChoice = EVERY_PASS) -> RunRecord:
        """Run a part from its beginning, or some segments of it again."""
        station, write = self._at(run, planned.row), self._ways.write_settings
        self._zero, self._opened = None, True
        return run_job(
            planned.setup,
            planned.plan,
            station,
            accept_limits=[f"{name}={why}" for name, why in self._ways.accepted.items()],
            zero=zero.start,
            ask_zero=self._ways.ask_zero,
            write_settings=None if write is None else lambda: write(planned, station),
            passes=again,
        )

    def _at(self, run: RunFolder, row: PartRow) -> Station:
        """The station, as the run of a part in this folder uses it."""
        return replace(self._station, folder=run, part=context_of(row, len(self._rows)))

    # --- a part that was interrupted -------------------------------------------------------------------------------

    def _pick_up(self, part: PartState) -> None:
        """Resume the run of a part, or begin it if it never began."""
        run, row = self._folder.run(part.runs[-1]), self._rows[part.number - 1]
        record = self._record_of(run)
        if record is None:
            self._mark_again(part, *part.again) if part.again is not None else self._begin(part)
            return
        if record.outcome != "done":
            self._between.tell(row, len(self._rows))
            choice = self._ways.side.interrupted(context_of(row, len(self._rows)), record, self._between.wait)
            if isinstance(choice, Stop):
                self._stop(choice)
            if isinstance(choice, Scrap):
                self._book.note(Judged(number=part.number, result=PartResult.SCRAPPED))
                return
            zero, self._zero = self._zero, None
            resume_run(
                self._at(run, row),
                ask=self._ways.ask or _nobody_asked,
                zero=zero,
                ask_zero=self._ways.ask_zero,
                accept_limits=[f"{name}={why}" for name, why in self._ways.accepted.items()],
            )
            self._opened = True
        else:
            record.save(run.record)  # it may have crashed between the last line of its journal and this
        self._book.note(PartDone(number=part.number, run=run.path.name))

    def _record_of(self, run: RunFolder) -> RunRecord | None:
        """A run's record as its journal has it; None if it never began. Raises `JournalError` for a damaged one."""
        state = replay(journal_events(run.journal)) if run.journal.exists() else None
        return state.record if state is not None and state.begin is not None else None

    # --- what became of it -----------------------------------------------------------------------------------------

    def _judge(self, part: PartState) -> None:
        """Ask what became of a part that is marked, and do it."""
        row = self._rows[part.number - 1]
        record = next(filter(None, map(self._record_of, map(self._folder.run, part.runs))), None)
        if record is None:
            raise JournalError(str(self._folder.path), f"holds no run of part {part.number}, which it has marked")
        self._between.tell(row, len(self._rows))
        said = self._ways.side.judge(context_of(row, len(self._rows)), record, self._between.wait)
        if isinstance(said, Stop):
            self._stop(said)
        elif isinstance(said, Scrap):
            self._book.note(Judged(number=part.number, result=PartResult.SCRAPPED))
        elif isinstance(said, Good):
            result = PartResult.REDONE if part.redone else PartResult.GOOD
            self._book.note(Judged(number=part.number, result=result))
        else:
            self._mark_again(part, said.segments, said.passes)

    def _mark_again(self, part: PartState, segments: tuple[int, ...], passes: int | None) -> None:
        """Mark segments of a part that is still clamped once more, in a run of its own."""
        planned = self._plans.plan(self._rows[part.number - 1], part.diameter)
        choice = PassChoice.only(segments, passes)
        segments, each = choice.of(planned.plan.segments.count, planned.setup.job.mark.passes)
        zero = same_zero(planned.setup, self._station, self._folder, part, opened=self._opened)
        if zero.unproved and self._zero != "here":
            raise self._not_proved(planned.row, zero)
        run = self._folder.new_run(part.number)
        self._book.note(Redo(number=part.number, run=run.path.name, segments=segments, passes=each))
        self._run(planned, run, zero, choice)
        self._book.note(PartDone(number=part.number, run=run.path.name))

    # --- the end ---------------------------------------------------------------------------------------------------

    def _stop(self, wish: Stop) -> None:
        self._station.stop.ask(wish.reason)
        self._station.stop.check()

    def _of_batch(self, act: Act) -> Act:
        """What is to be done about a run of this batch is done with the batch: it knows which run it is."""
        if isinstance(act, Resume):
            return replace(act, run=str(self._folder.path))
        if isinstance(act, Run):
            return Resume(str(self._folder.path), zero=act.zero, without_marking=act.without_marking)
        return act

    def _end_failed(self, error: BaseException) -> None:
        """Journal how the batch ended, and save its record; what they raise is noted on `error`."""
        stopped = isinstance(error, RunStoppedError)
        reason = error.reason if isinstance(error, RunStoppedError) else str(error) or type(error).__name__
        outcome = "stopped" if stopped else outcome_of(error)
        note_failure(error, lambda: self._book.note(BatchEnd(outcome=outcome, reason=reason)))
        note_failure(error, self._save)

    def _save(self) -> BatchRecord:
        record = batch_record(self._book.state(), self._rows)
        record.save(self._folder.record, self._folder.times)
        return record


def _nobody_asked(entry: object) -> bool:
    raise ControllerError("a pass was interrupted, and nobody is there to ask whether it is done")
