"""Progress of a run on standard error: lines at the bottom of a terminal, plain lines elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from types import TracebackType
from typing import Self

from rich.console import RenderableType
from rich.live import Live
from rich.markup import escape
from rich.text import Text

from firmware_host.cli.screen import output
from firmware_host.cli.screen.keys_of_run import RunKeys
from firmware_host.clock import Clock, SystemClock
from firmware_host.reporting.render.duration import duration_text
from firmware_host.reporting.render.printable import printable
from firmware_host.station import progress
from firmware_host.station.progress import RunState
from firmware_host.station.state.publisher import FRESH_S
from firmware_host.system.keyboard import is_terminal

_NOT_KNOWN = "time left is not known yet"
_OVER = ("done", "stopped", "failed", "between")
"""No pass is under way: nothing stands at the bottom, and what is asked is answered by lines, not by single keys."""


class RunProgress(progress.Progress):
    """Shows what the run is at and how much is left; at a terminal also STILL or TURNING, and the `keys`.

    A context manager: the lines at the bottom are taken away at the end. `marking`: False where nothing is marked.
    """

    def __init__(self, *, marking: bool = True, keys: RunKeys | None = None, clock: Clock | None = None) -> None:
        self._marked = "marked" if marking else "turned without marking"
        self._console = output.err()
        self._keys = keys
        self._clock = clock if clock is not None else SystemClock()
        self._stage = ""
        self._state: RunState | None = None
        self._told_s = self._looked_s = self._clock.monotonic()
        self._live: Live | None = None
        if self._console.is_terminal:
            shared = is_terminal(sys.stdout)  # what goes to a file or a pipe is no business of the terminal's
            self._live = Live(
                _Bottom(self.lines),
                console=self._console,
                transient=True,
                refresh_per_second=8,
                redirect_stdout=shared,
            )

    def __enter__(self) -> Self:
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._keys is not None:
            self._keys.end()
        if self._live is not None:
            with output.unless_hung_up():
                self._live.stop()

    def stage(self, text: str) -> None:
        self._stage = text

    def note(self, text: str) -> None:
        with output.unless_hung_up():
            self._console.print(escape(printable(text)))

    def zero(self, origin_steps: int) -> None:
        if self._live is None:
            output.remark(f"the job's zero is at machine step {origin_steps}")

    def done(self, passes: int, of: int, left_s: float | None) -> None:
        if self._live is None:
            left = _NOT_KNOWN if left_s is None else f"about {duration_text(left_s)} left"
            output.remark(f"{passes} of {of} passes {self._marked}, {left}")

    def standstill(self, segment: int, planned: int, reported: float) -> None:
        if self._live is None:
            output.remark(f"segment {segment}: standstill, planned microstep {planned}, reported {reported:.2f}")

    def state(self, state: RunState) -> None:
        self._told_s = self._looked_s = self._clock.monotonic()
        self._state = state
        if self._keys is None or self._live is None:
            return
        self._keys.holding = state.phase == "held"
        if state.phase in _OVER:
            self._keys.end()
        else:
            self._keys.begin()

    def still_so(self) -> None:
        self._looked_s = self._clock.monotonic()

    # --- the bottom of the screen ----------------------------------------------------------------------------------

    def lines(self) -> tuple[str, ...]:
        """What stands at the bottom now: STILL or TURNING first, then where, the time, and the keys.

        STILL is said only while the run looks again and again: one that hangs knows of no standstill.
        """
        state = self._state
        if state is not None and state.phase in _OVER:
            return ()
        if state is None:
            return (printable(self._stage),)
        fresh = self._clock.monotonic() - self._looked_s <= FRESH_S
        word = "STILL  " if state.still and fresh else "TURNING"
        keys = self._keys.legend if self._keys is not None else ""
        return tuple(filter(None, (f"{word}  {self._where(state)}", self._time(state), keys)))

    def _where(self, state: RunState) -> str:
        """At which segment and pass, and whether the gate is open."""
        where = f"segment {state.segment} of {state.segments}, pass {state.number} of {state.passes}"
        if state.phase == "turning" and self._keys is not None and self._keys.stopping:
            return f"stopping at {where}, the gate is closed"
        if state.segment == 0 or (state.phase == "turning" and state.done == state.of):
            return printable(self._stage)
        return {
            "turning": f"to {where}",
            "settling": f"{where}, the gate is closed",
            "marking": f"{where}, THE GATE IS OPEN",
            "held": f"HOLDING at {where}, the gate is closed",
        }.get(state.phase, where)

    def _time(self, state: RunState) -> str:
        """How many passes are done, the time left, and the time of day when it is done."""
        count = f"{state.done} of {state.of} passes {self._marked}"
        if state.left_s is None:
            return f"{count}, {_NOT_KNOWN}"
        gone_s = 0.0 if state.phase == "held" else self._clock.monotonic() - self._told_s
        left_s = max(state.left_s - gone_s, 0.0)
        ends = self._clock.now().astimezone() + timedelta(seconds=left_s)
        return f"{count}, about {duration_text(left_s)} left, done at {_time_of_day(ends)}"


def _time_of_day(ends: datetime) -> str:
    return f"{ends:%H:%M}" if ends.date() == datetime.now(ends.tzinfo).date() else f"{ends:%a %H:%M}"


class _Bottom:
    """The lines as the terminal's library draws them, made anew each time."""

    def __init__(self, lines: Callable[[], tuple[str, ...]]) -> None:
        self._lines = lines

    def __rich__(self) -> RenderableType:
        first, *others = self._lines() or ("",)
        style = "bold green" if first.startswith("STILL") else "bold yellow" if first.startswith("TURNING") else ""
        text = Text(first, style=style, no_wrap=True, overflow="ellipsis")
        for line in others:
            text.append(f"\n{line}", style="not bold default")
        return text
