"""A run in a thread of its own, for a program that has something else to do meanwhile."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from types import TracebackType
from typing import Self, Unpack

from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.opened import OpenStation, RunOptions, open_station
from firmware_host.station.opening import port_of
from firmware_host.station.operator import Operator
from firmware_host.station.passes.choice import EVERY_PASS, PassChoice
from firmware_host.station.passes.control import RunControl
from firmware_host.station.progress import Progress, RunState
from firmware_host.station.run import require_limits
from firmware_host.station.zero import ZeroAt


class RunEventKind(Enum):
    """What a run tells while it works."""

    STAGE = "stage"
    """It begins something: `text`."""
    NOTE = "note"
    """Something that the person at the machine should know: `text`."""
    TELL = "tell"
    """The gate speaks to the person at the machine: `text`. Often a question; `RunHandle.answer` answers."""
    ZERO = "zero"
    """The job's zero is set."""
    STANDSTILL = "standstill"
    """The axis stands still for `segment`, at `planned` and `reported` microsteps from the job's zero."""
    PROGRESS = "progress"
    """`passes` of `of` are marked; about `left_s` (s) are left, None while that can't be told."""
    STATE = "state"
    """What the run is at: `state`."""
    ENDED = "ended"
    """The last event: the run is over and everything is closed. `text`: its outcome, or what went wrong."""


@dataclass(frozen=True, slots=True)
class RunEvent:
    """One thing that a run tells. What does not belong to its `kind` is None or ""."""

    kind: RunEventKind
    text: str = ""
    segment: int | None = None
    planned: int | None = None
    reported: float | None = None
    passes: int | None = None
    of: int | None = None
    left_s: float | None = None
    state: RunState | None = None


class RunHandle(AbstractContextManager["RunHandle"]):
    """A run that was started by `start_run`. Every method may be called from any thread.

    As a context manager it waits for the run at the end of the block, and stops it first if the block raised.
    """

    def __init__(
        self,
        opened: AbstractContextManager[OpenStation],
        shared: _Shared,
        zero: ZeroAt | None = None,
        passes: PassChoice = EVERY_PASS,
    ) -> None:
        self._opened, self._shared, self._zero, self._passes = opened, shared, zero, passes
        self._thread = threading.Thread(target=self._work, name="run", daemon=False)
        self._record: RunRecord | None = None
        self._error: BaseException | None = None
        self._folder: Path | None = None
        self._thread.start()

    @property
    def running(self) -> bool:
        """True until the run is over and everything is closed."""
        return self._thread.is_alive()

    @property
    def folder(self) -> Path | None:
        """The run's folder, as soon as there is one."""
        return self._folder

    def stop(self, reason: str = "by the program") -> None:
        """Ask the run to stop: it closes the gate, stops the axis and ends. Returns at once; `join` waits for it."""
        self._shared.control.stop_now(reason)

    def hold(self) -> None:
        """Hold after this pass, or before the next gate opens: it stays closed, the motor on, until `carry_on`."""
        self._shared.control.hold()

    def carry_on(self) -> None:
        """Carry on after a hold, or take the wish to hold back."""
        self._shared.control.carry_on()

    def skip_segment(self, segment: int | None = None) -> int | None:
        """Skip what is left of a segment (from 1; None: the one marked now or next), as `RunControl.skip_segment`.

        The journal and the record hold it: skipped passes stay skipped when the run is resumed.
        """
        return self._shared.control.skip_segment(segment)

    def repeat_pass(self) -> tuple[int, int] | None:
        """Mark the pass that is marked now, or was marked last, once more, as `RunControl.repeat_pass`; recorded."""
        return self._shared.control.repeat_pass()

    def answer(self, line: str = "") -> None:
        """Answer the gate as the person at the terminal would ("" is the Enter key: the pass is marked)."""
        self._shared.answers.append(line)

    def events(self) -> Iterator[RunEvent]:
        """Every event of the run from its beginning, each as it comes; ends after `ENDED`. Any number may read."""
        yield from self._shared.events_from_start()

    def join(self, timeout_s: float | None = None) -> RunRecord:
        """Wait for the end and return the record, or raise what the run raised (see `run_job`, `open_station`).

        Raises `TimeoutError` if it still runs after `timeout_s` (s, real time; None waits as long as it takes).
        """
        self._thread.join(timeout_s)
        if self._thread.is_alive():
            raise TimeoutError(f"the run is not over after {timeout_s:g} s; ask it to stop, or wait longer")
        if self._error is not None:
            raise self._error
        if self._record is None:
            raise RuntimeError("the run ended without a record")
        return self._record

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        if kind is None:
            self.join()
        else:
            self.stop()
            self._thread.join()

    def _work(self) -> None:
        try:
            with self._opened as opened:
                self._folder = opened.station.folder.path
                self._record = opened.run(zero=self._zero, passes=self._passes)
        except BaseException as error:  # noqa: BLE001 - whatever it is, whoever joins is told
            self._error = error
        text = str(self._error) if self._error is not None else self._record.outcome if self._record else ""
        self._shared.put(RunEvent(RunEventKind.ENDED, text))


def start_run(
    setup: Setup,
    port: str = "",
    *,
    plan: JobPlan | None = None,
    runs: Path = Path("runs"),
    accept_limits: tuple[str, ...] = (),
    zero: ZeroAt | None = None,
    passes: PassChoice | str = EVERY_PASS,
    **options: Unpack[RunOptions],
) -> RunHandle:
    """Run a job in a thread of its own: `open_station` and `run`, with the same arguments; returns at once.

    It is planned here, unless `plan` is given, and limits that fail, segments that the job does not have, and no port
    raise here as in `open_station` and `run`;
    whatever goes wrong later is raised by `RunHandle.join`.

    The job's own gate asks its questions as `TELL` events, which `RunHandle.answer` answers. The thread is no daemon: a
    program that ends early waits until the run is over, so that the gate is closed and the axis is stopped properly.
    """
    plan = plan if plan is not None else plan_job(setup)
    require_limits(plan.limits, accept_limits)
    passes = PassChoice.only(passes) if isinstance(passes, str) else passes
    passes.of(plan.segments.count, setup.job.mark.passes)
    shared = _Shared()
    opened = open_station(
        setup,
        port_of(setup.machine, port),
        plan=plan,
        runs=runs,
        accept_limits=accept_limits,
        operator=_Asked(shared),
        progress=_Told(shared),
        control=shared.control,
        **options,
    )
    return RunHandle(opened, shared, zero, passes)


class _Shared:
    """What the run's thread and the others share."""

    def __init__(self) -> None:
        self.control = RunControl()
        self.answers: deque[str] = deque()
        self._events: list[RunEvent] = []
        self._changed = threading.Condition()

    def put(self, event: RunEvent) -> None:
        with self._changed:
            self._events.append(event)
            self._changed.notify_all()

    def events_from_start(self) -> Iterator[RunEvent]:
        for number in range(2**63):
            with self._changed:
                while number == len(self._events):
                    self._changed.wait()
                event = self._events[number]
            yield event
            if event.kind is RunEventKind.ENDED:
                return


class _Told(Progress):
    """Turns what the run tells into events."""

    def __init__(self, shared: _Shared) -> None:
        self._put = shared.put

    def stage(self, text: str) -> None:
        self._put(RunEvent(RunEventKind.STAGE, text))

    def note(self, text: str) -> None:
        self._put(RunEvent(RunEventKind.NOTE, text))

    def zero(self, origin_steps: int) -> None:
        self._put(RunEvent(RunEventKind.ZERO))

    def done(self, passes: int, of: int, left_s: float | None) -> None:
        self._put(RunEvent(RunEventKind.PROGRESS, passes=passes, of=of, left_s=left_s))

    def state(self, state: RunState) -> None:
        self._put(RunEvent(RunEventKind.STATE, state.phase, state=state))

    def standstill(self, segment: int, planned: int, reported: float) -> None:
        self._put(RunEvent(RunEventKind.STANDSTILL, segment=segment, planned=planned, reported=reported))


class _Asked(Operator):
    """The person is whoever calls `RunHandle.answer`."""

    def __init__(self, shared: _Shared) -> None:
        self._shared = shared

    def tell(self, text: str) -> None:
        self._shared.put(RunEvent(RunEventKind.TELL, text))

    def answer(self) -> str | None:
        try:
            return self._shared.answers.popleft().strip()
        except IndexError:
            return None

    def forget(self) -> None:
        self._shared.answers.clear()
