"""Makes the messages of a run's state and hands them to whoever tells them on."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Literal

from firmware_host.clock import Clock
from firmware_host.errors import InputError, RunStoppedError, StoppedError
from firmware_host.station.progress import PassingOn, Phase, Progress, RunState
from firmware_host.station.state.file import StateFile
from firmware_host.station.state.loopback import StateSocket
from firmware_host.station.state.message import RENEWED_EVERY_S, StateMessage
from firmware_host.station.state.outlet import Outlet
from firmware_host.station.stop_request import StopAskedError

FRESH_S = 0.5
"""A standstill that the run has not looked at for so long (s) no longer counts as proved."""
_TCP = "tcp:"
_ENDS: dict[Phase, Literal["done", "stopped", "failed"]] = {"done": "done", "stopped": "stopped", "failed": "failed"}


class StatePublisher:
    """The newest state of one run, or of one run after the other. `tell` and `still_so` are for the run's thread.

    A message says `still` only while the run says so and has looked within the last half second: a run that hangs, or
    whose disk does, is soon no longer called still.
    """

    def __init__(self, clock: Clock, outlets: Sequence[Outlet], job: str) -> None:
        self._clock, self._outlets, self._job = clock, outlets, job
        self._lock = threading.Lock()
        self._sequence = 0
        self._state = RunState("preparing")
        self._looked_s = clock.monotonic()

    def tell(self, state: RunState) -> None:
        """The run is at something else now."""
        with self._lock:
            self._state, self._looked_s = state, self._clock.monotonic()
            self._put()

    def still_so(self) -> None:
        """The run has looked: what it told last is still so."""
        self._looked_s = self._clock.monotonic()

    def renew(self) -> None:
        """Tell the newest state once more, with its time and a new number."""
        with self._lock:
            self._put()

    def newest(self) -> StateMessage:
        """The state as it is now, with the number of what was told last."""
        with self._lock:
            return self._message()

    def end(self, outcome: Literal["done", "stopped", "failed"]) -> None:
        """Nothing follows: a state that says no outcome yet becomes one of that outcome.

        A run that never began is not done; a batch is, between whose last part and its end nothing was told.
        """
        state = self._state
        if state.phase not in _ENDS and (outcome != "done" or state.phase == "between"):
            self.tell(replace(state, phase=outcome, still=False, gate_open=False, left_s=None, following=None))

    def _put(self) -> None:
        self._sequence += 1
        line = self._message().line()
        for outlet in self._outlets:
            outlet.put(line)

    def _message(self) -> StateMessage:
        state = self._state
        fresh = self._clock.monotonic() - self._looked_s <= FRESH_S
        return StateMessage(
            sequence=self._sequence,
            time=self._clock.now().isoformat(timespec="milliseconds"),
            phase=state.phase,
            still=state.still and fresh,
            gate_open=state.gate_open,
            job=self._job,
            part=state.part or None,
            parts=state.parts or None,
            serial=state.serial or None,
            segment=state.segment,
            segments=state.segments,
            number=state.number,
            passes=state.passes,
            next_segment=state.following[0] if state.following is not None else None,
            next_pass=state.following[1] if state.following is not None else None,
            done=state.done,
            of=state.of,
            left_s=None if state.left_s is None else round(state.left_s, 1),
            outcome=_ENDS.get(state.phase),
        )


class StateProgress(PassingOn):
    """Tells the state, and passes everything on to `inner`."""

    def __init__(self, inner: Progress, publisher: StatePublisher) -> None:
        super().__init__(inner)
        self._publisher = publisher

    def state(self, state: RunState) -> None:
        self._publisher.tell(state)
        super().state(state)

    def still_so(self) -> None:
        self._publisher.still_so()
        super().still_so()


def open_outlet(target: str | Outlet) -> Outlet:
    """Where a state is told: "tcp:PORT" on a socket of this computer (0: any free one), else a file of that name.

    An outlet of the caller's own is taken as it is.

    Raises `InputError` for a port that is none or is taken, and for a file that can't be written.
    """
    if isinstance(target, Outlet):
        return target
    if not target.startswith(_TCP):
        return StateFile(Path(target))
    digits = target.removeprefix(_TCP)
    if not (digits.isascii() and digits.isdigit() and int(digits) <= 65535):
        raise InputError(f"{target!r} names no port", "Write tcp: and a port from 0 to 65535, as tcp:7700", key="state")
    return StateSocket(int(digits))


@contextmanager
def publishing_state(targets: Sequence[str | Outlet], job: str, clock: Clock, inner: Progress) -> Iterator[Progress]:
    """The progress of a run whose state is told at `targets` (see `open_outlet`), and everything else to `inner`.

    It is told at each change, and at least each second by a thread. Without targets it is `inner` itself. A batch opens
    it once for all its parts. Raises as `open_outlet`.
    """
    if not targets:
        yield inner
        return
    with ExitStack() as stack:
        outlets = []
        for target in targets:
            outlets.append(outlet := open_outlet(target))
            stack.callback(outlet.close)
            if not isinstance(target, Outlet):
                inner.note(f"the state of the run is told at {outlet.name}")
        publisher = StatePublisher(clock, outlets, job)
        publisher.renew()
        for outlet in outlets:
            outlet.attach(publisher.newest)
        stack.enter_context(_renewing(publisher))
        try:
            yield StateProgress(inner, publisher)
        except (StopAskedError, StoppedError, RunStoppedError):
            publisher.end("stopped")
            raise
        except BaseException:
            publisher.end("failed")
            raise
        publisher.end("done")


@contextmanager
def _renewing(publisher: StatePublisher) -> Iterator[None]:
    """Tell the state each second, by the computer's own time: who reads it has no other."""
    over = threading.Event()

    def work() -> None:
        while not over.wait(RENEWED_EVERY_S):
            publisher.renew()

    thread = threading.Thread(target=work, name="state", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
