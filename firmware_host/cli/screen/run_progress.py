"""Progress of a run on standard error: a bar with the time left on a terminal, plain lines elsewhere."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn

from firmware_host.cli.screen import output
from firmware_host.reporting.render.duration import duration_text
from firmware_host.reporting.render.printable import printable
from firmware_host.station import progress


class RunProgress(progress.Progress):
    """Shows stages, standstills and how much is left. A context manager: the bar is taken away at the end."""

    def __init__(self, *, marking: bool = True) -> None:
        self._marked = "marked" if marking else "turned without marking"
        self._console = output.err()
        self._bar: Progress | None = None
        if self._console.is_terminal:
            self._bar = Progress(
                TextColumn("{task.description}"),
                BarColumn(),
                TextColumn("{task.fields[count]}{task.fields[left]}"),
                console=self._console,
                transient=True,
            )
            self._task = self._bar.add_task("", total=None, count="", left="time left is not known yet")

    def __enter__(self) -> Self:
        if self._bar is not None:
            self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            with output.unless_hung_up():
                self._bar.stop()

    def stage(self, text: str) -> None:
        if self._bar is not None:
            self._bar.update(self._task, description=printable(text))

    def note(self, text: str) -> None:
        with output.unless_hung_up():
            self._console.print(escape(printable(text)))

    def zero(self, origin_steps: int) -> None:
        if self._bar is None:
            output.remark(f"the job's zero is at machine step {origin_steps}")

    def done(self, passes: int, of: int, left_s: float | None) -> None:
        left = "time left is not known yet" if left_s is None else f"about {duration_text(left_s)} left"
        if self._bar is not None:
            self._bar.update(self._task, completed=passes, total=of, count=f"{passes}/{of} passes, ", left=left)
        else:
            output.remark(f"{passes} of {of} passes {self._marked}, {left}")

    def standstill(self, segment: int, planned: int, reported: float) -> None:
        if self._bar is None:
            output.remark(f"segment {segment}: standstill, planned microstep {planned}, reported {reported:.2f}")
