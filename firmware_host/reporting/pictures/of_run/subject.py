"""A run as it is drawn: its plan, and what the replay of its journal tells of each standstill."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import replay
from firmware_host.station.journal.schema1 import completed
from firmware_host.station.journal.stands import Session, Stand
from firmware_host.station.runs.folder import RunFolder


@dataclass(frozen=True)
class RunSubject:
    """A run with the plan that it was run by. `sessions`: its start and each time it was resumed."""

    setup: Setup
    plan: JobPlan
    record: RunRecord
    sessions: tuple[Session, ...]
    stands: tuple[Stand, ...]

    @property
    def name(self) -> str:
        """The job's, and when the run began."""
        return f"{self.record.job}, run of {self.record.started}"

    def planned_turning_s(self, stand: Stand) -> float | None:
        """What the way to a standstill takes as planned, s; None where nobody knows from where it was turned."""
        if stand.start is None or stand.position is None:
            return None
        return self.plan.program.way_s(stand.position, stand.start, taken_up=stand.followed)

    def planned_index_s(self, stand: Stand) -> float | None:
        """Turning and settling as planned, s."""
        turning_s = self.planned_turning_s(stand)
        return None if turning_s is None else turning_s + self.plan.settle_s

    def index_pairs(self) -> list[tuple[Stand, float, float]]:
        """Each standstill with what its index took as planned and as measured, s, where both are known."""
        pairs = ((each, self.planned_index_s(each), each.index_s) for each in self.stands)
        return [(each, plan, took) for each, plan, took in pairs if plan is not None and took is not None]

    def began_s(self) -> tuple[float, ...]:
        """When each session began, s after the run began, by the calendar time; never before the one before it ended.

        What a session takes is told by its own clock: the computer's calendar may be set meanwhile.
        """
        began = [0.0]
        for before, after in pairwise(self.sessions):
            ended = began[-1] + before.end_s - before.start_s
            began.append(max(ended, _between_s(self.sessions[0].time, after.time) or ended))
        return tuple(began[: len(self.sessions)])


def _between_s(first: str, then: str) -> float | None:
    try:
        return (datetime.fromisoformat(then) - datetime.fromisoformat(first)).total_seconds()
    except (ValueError, TypeError):
        return None  # a journal's times are for people: one that is none stops nobody


def run_subject(folder: RunFolder, plan: JobPlan | None = None) -> RunSubject:
    """The run in a folder; `plan`: its job planned, if that was done already.

    Raises `JournalError` and `InputError` where the folder is damaged, `RunNotBegunError` where nothing was moved, and
    as `plan_job`.
    """
    setup = folder.load_setup()
    plan = plan if plan is not None else plan_job(setup)
    state = replay(completed(journal_events(folder.journal), plan.route))
    if state.begin is None:
        raise folder.never_began()
    return RunSubject(setup, plan, state.record, state.sessions, state.stands)


def nothing_stood(stands: Sequence[object]) -> str:
    """Why there is nothing to draw of a run without a standstill, as a sentence; "" where it has one."""
    return "" if stands else "the run came to no standstill at a segment"
