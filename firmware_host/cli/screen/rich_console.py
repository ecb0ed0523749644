"""The console that writes on a terminal; imported when there is one, or a table that plain lines have no room for."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from firmware_host.reporting.render.plain import WIDTH


class _Console(Console):
    """Leaves a reader that went away to whoever runs the command: the exit status is decided in one place."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def console_on(stream: Any) -> Console:
    """A console on a stream; wide enough for the tables where it is no terminal."""
    width = None if stream.isatty() else WIDTH
    return _Console(file=stream, width=width, highlight=False, emoji=False, soft_wrap=not stream.isatty())
