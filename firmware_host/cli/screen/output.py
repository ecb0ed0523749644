"""Where results and remarks go: results to standard output, everything else to standard error."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rich.console import Console, RenderableType
from rich.markup import escape

from firmware_host.acts import RestoreSettings
from firmware_host.cli.screen.advice import advice_lines
from firmware_host.reporting.render.json import json_pieces
from firmware_host.reporting.render.printable import printable
from firmware_host.system import console as system_console


def out() -> Console:
    """Standard output; wide enough for the tables where it is no terminal."""
    return _console(sys.stdout)


def err() -> Console:
    """Standard error."""
    return _console(sys.stderr)


class _Console(Console):
    """Leaves a reader that went away to whoever runs the command: the exit status is decided in one place."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def _console(stream: Any) -> Console:
    width = None if stream.isatty() else 160
    return _Console(file=stream, width=width, highlight=False, soft_wrap=not stream.isatty())


def show(thing: RenderableType) -> None:
    """Print a table or the like to standard output."""
    out().print(thing)


def lines(texts: Iterable[str]) -> None:
    """Print plain lines to standard output, wrapped only on a terminal."""
    console = out()
    for text in texts:
        console.print(escape(printable(text)))


def remark(text: str, style: str = "") -> None:
    """Print a line to standard error; nothing where the terminal was closed."""
    with unless_hung_up():
        err().print(escape(printable(text)), style=style or None)


@contextmanager
def unless_hung_up() -> Iterator[None]:
    """Skips output that fails because the terminal was closed: a signal reports that."""
    try:
        yield
    except OSError as error:
        if not system_console.is_hung_up(error):
            raise


def announce_backup(backup: Path) -> None:
    """Say where a controller's old settings are kept, before others are written."""
    remark(f"The old settings are kept. {advice_lines((RestoreSettings(str(backup)),))[0]}")


def document(value: Any) -> None:
    """Print one JSON document to standard output."""
    sys.stdout.writelines(json_pieces(value))
