"""Where results and remarks go: results to standard output, everything else to standard error."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from firmware_host.cli.program import PROGRAM
from firmware_host.reporting.render.plain import WIDTH, fits, grid_lines, wrapped
from firmware_host.reporting.render.printable import printable
from firmware_host.reporting.render.short import Grid
from firmware_host.system import console as system_console

if TYPE_CHECKING:
    from rich.console import Console


def out() -> Console:
    """Standard output; wide enough for the tables where it is no terminal."""
    return _console(sys.stdout)


def err() -> Console:
    """Standard error."""
    return _console(sys.stderr)


def _console(stream: Any) -> Console:
    from firmware_host.cli.screen.rich_console import console_on  # takes long, and only a terminal needs it

    return console_on(stream)


def grid(table: Grid) -> None:
    """Print a table to standard output; a sign that it lacks is written otherwise and keeps its place in its column."""
    encoding = sys.stdout.encoding
    table = table._replace(
        headers=[system_console.showable(text, encoding) for text in table.headers],
        texts=[[system_console.showable(text, encoding) for text in row] for row in table.texts],
    )
    width = _width()
    plain = grid_lines(table, width)
    if plain is not None and not (sys.stdout.isatty() and fits(table, width)):
        lines(plain)
        return
    from firmware_host.reporting.render.terminal import rich_grid  # as rich_console

    out().print(rich_grid(table))


def _width() -> int:
    """Characters of a line: those of the terminal, or the usual 80 where there is none."""
    return shutil.get_terminal_size((WIDTH, 24)).columns if sys.stdout.isatty() else WIDTH


def sentence(text: str) -> None:
    """Print a line of words to standard output, wrapped where it is wider than the terminal, or 80 columns."""
    lines(wrapped(system_console.showable(printable(text), sys.stdout.encoding), _width()))


def lines(texts: Iterable[str]) -> None:
    """Print plain lines to standard output, wrapped only on a terminal."""
    _lines(sys.stdout, texts)


def remark(text: str, style: str = "") -> None:
    """Print a line to standard error; nothing where the terminal was closed."""
    with unless_hung_up():
        _lines(sys.stderr, [text], style)


def _lines(stream: Any, texts: Iterable[str], style: str = "") -> None:
    if stream.isatty():
        console = _console(stream)
        for line in (line for text in texts for line in _folded(printable(text), console.width)):
            console.print(line, style=style or None, markup=False, soft_wrap=True)
    else:
        stream.writelines(f"{printable(text)}\n" for text in texts)


_BEFORE_COMMAND = ": "
"""Stands between what a command is for and the command."""


def _folded(text: str, width: int) -> Iterator[str]:
    """The text in lines of at most `width`, but for a command: it stands alone, in one piece, to be copied."""
    for line in text.split("\n"):
        words, mark, command = line.partition(f"{_BEFORE_COMMAND}{PROGRAM} ")
        if mark and len(line) > width:
            yield from wrapped(f"{words}:", width)
            yield f"  {PROGRAM} {command}"
        else:
            yield from wrapped(line, width)


@contextmanager
def unless_hung_up() -> Iterator[None]:
    """Skips output that fails because the terminal was closed: a signal reports that."""
    try:
        yield
    except OSError as error:
        if not system_console.is_hung_up(error):
            raise


def announce_backup(backup: Path) -> None:
    """Say how a controller's old settings are brought back, before others are written."""
    from firmware_host.acts import RestoreSettings
    from firmware_host.cli.screen.advice import advice_lines

    remark(advice_lines((RestoreSettings(str(backup)),))[0])


def exact(text: str) -> None:
    """Print the content of a file to standard output, as UTF-8 and with its line ends as they are."""
    buffer = getattr(sys.stdout, "buffer", None)
    if buffer is None:  # a stream of a program's own, which changes no line end
        sys.stdout.write(text)
        return
    sys.stdout.flush()
    buffer.write(text.encode(errors="backslashreplace"))
    buffer.flush()


def document(value: Any) -> None:
    """Print one JSON document to standard output."""
    from firmware_host.reporting.render.json import json_pieces

    sys.stdout.writelines(json_pieces(value))
