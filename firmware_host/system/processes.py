"""A program of somebody else's, run to its end, with whatever it starts; and where a browser is that prints."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

if sys.platform == "win32":
    from firmware_host.system.windows import browsers as _browsers
    from firmware_host.system.windows import processes as _here
else:
    from firmware_host.system.posix import browsers as _browsers
    from firmware_host.system.posix import processes as _here


class Program:
    """A program that was started. It hears no keyboard, and what it prints to standard output is dropped."""

    def __init__(self, arguments: Sequence[str], told: Mapping[str, str], *, quiet: bool = False) -> None:
        """Start `arguments`, never by a shell, with `told` in its environment. Raises `OSError` where that can't be.

        `quiet`: what it prints to standard error is dropped, too.
        """
        self._family = _here.Family(arguments, os.environ | dict(told), quiet=quiet)
        self._over = False

    @property
    def pid(self) -> int:
        """Its number."""
        return self._family.process.pid

    def status(self) -> int | None:
        """What it ended with, None while it runs; below 0, the number of the signal that ended it, with a minus."""
        return self._family.process.poll()

    def end(self, patience_s: float) -> None:
        """End it and everything that it has started: asked first, and after `patience_s` (s) made to.

        Nothing of it runs afterwards; a second call does nothing.
        """
        if not self._over:
            self._over = True
            self._family.end(patience_s)


def join_command(words: Sequence[str]) -> str:
    """One line that `split_command` takes apart into these words."""
    return _here.join_command(words)


def split_command(line: str) -> tuple[str, ...]:
    """The words of a command line as this system's shells and programs take it apart.

    On Windows a backslash is a letter like any other. Raises `ValueError` for a quotation mark without its partner.
    """
    return _here.split_command(line)


def installed_browsers() -> Iterator[str]:
    """The programs of the browsers found here that print by `--print-to-pdf`, the likeliest first."""
    seen = set()
    for place in _browsers.places():
        if place not in seen:
            seen.add(place)
            yield place


def printing_command(browser: str, page: Path, pdf: Path, own_folder: Path) -> tuple[str, ...]:
    """What makes `browser` print the file `page` into `pdf`; nothing is asked of any other computer.

    `own_folder`: an empty one for what it keeps meanwhile, so that a window that is open is left alone.
    """
    return (
        browser,
        "--headless",
        "--disable-gpu",
        "--no-first-run",
        "--disable-extensions",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        *_browsers.needed_options(),
        f"--user-data-dir={own_folder}",
        "--no-pdf-header-footer",
        f"--print-to-pdf={pdf}",
        page.absolute().as_uri(),
    )
