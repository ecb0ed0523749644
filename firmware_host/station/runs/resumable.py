"""What can be resumed of a run, as its files say: settled before its port is opened, which resets many boards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from firmware_host import acts
from firmware_host.errors import DamagedRunError, InputError, JournalError
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.journal.events import Begin
from firmware_host.station.journal.journal import in_use, journal_events
from firmware_host.station.journal.last_position import LastPosition
from firmware_host.station.journal.replay import RunState, left_by, replay
from firmware_host.station.runs.folder import RunFolder


@dataclass(frozen=True)
class KeptRun:
    """A run with the setup and the plan that it began with, whole and not under way."""

    folder: RunFolder
    state: RunState
    setup: Setup
    plan: JobPlan

    @classmethod
    def read(cls, folder: RunFolder) -> Self:
        """Read a run's folder; changes nothing.

        Raises `RunNotBegunError` where nothing was moved, `JournalError` for files that are damaged, in use, or not
        those that the run began with.
        """
        if in_use(folder.journal):
            raise JournalError(str(folder.journal), "another process is writing this run")
        state = replay(journal_events(folder.journal))
        if state.begin is None:
            raise folder.never_began()
        if state.begin.setup_digest != folder.setup_digest():
            raise DamagedRunError(str(folder.setup), "was changed since the run began. Start the job again")
        setup = folder.load_setup()
        plan = plan_job(setup)
        if state.begin.targets != tuple(plan.route.segment_targets().tolist()):
            raise DamagedRunError(
                str(folder.setup), "gives other targets than the journal holds: another version began the run"
            )
        return cls(folder, state, setup, plan)

    @property
    def begin(self) -> Begin:
        """The first line of its journal. Raises `RunNotBegunError` where there is none."""
        if self.state.begin is None:
            raise self.folder.never_began()
        return self.state.begin

    @property
    def port(self) -> str:
        """The port that the run began with."""
        return self.begin.port

    def left(self) -> LastPosition:
        """Where the axis was left."""
        if self.state.left is not None:
            return self.state.left
        return left_by(journal_events(self.folder.journal), self.plan.route)


class Resumable(KeptRun):
    """A run that did not come to its end."""

    @classmethod
    def read(cls, folder: RunFolder) -> Self:
        """Read a run's folder. Changes nothing, but the record of a run that is done is saved.

        Raises as `KeptRun.read`, and `InputError` when nothing is left.
        """
        found = super().read(folder)
        record = found.state.record
        if record.outcome == "done":
            record.save(folder.record)  # it may have crashed between the last line of its journal and this
            raise InputError("the run is done: nothing is left", "Start the job again", source=str(folder.path))
        return found

    def require_same_marking(self, *, marks: bool) -> None:
        """Raise `InputError` where passes without marking would come to count as marked, or the other way round."""
        if self.state.record.marking == marks:
            return
        if self.state.record.marking:
            problem = "it marks: a pass turned to without marking would count as marked"
            remedy = "Resume it with marking"
        else:
            problem = "it was begun without marking: what it has turned to was never marked"
            remedy = "Resume it without marking, or run the job anew to mark"
        again = acts.Resume(str(self.folder.path), without_marking=not self.state.record.marking)
        raise InputError(problem, remedy, source=str(self.folder.path), acts=(again,))
