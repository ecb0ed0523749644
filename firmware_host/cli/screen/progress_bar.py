"""A bar on standard error that counts plans made, with the time left; none where that is no terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from firmware_host.cli.screen import output
from firmware_host.model import Setup

Made = TypeVar("Made")


@contextmanager
def counting(what: str, total: int, plan: Callable[[Setup], Made]) -> Iterator[Callable[[Setup], Made]]:
    """`plan` as a function that moves a bar of `total` steps on each call; the bar vanishes at the end."""
    done = 0
    with telling_done(what, total) as told:

        def counted(setup: Setup) -> Made:
            nonlocal done
            try:
                return plan(setup)
            finally:
                done += 1
                told(done)

        yield counted


@contextmanager
def telling_done(what: str, total: int) -> Iterator[Callable[[int], None]]:
    """A function that moves a bar of `total` steps to how many are done."""
    if not sys.stderr.isatty():
        yield lambda done: None
        return
    from rich.progress import Progress  # takes long, and only a terminal needs it

    with Progress(console=output.err(), transient=True) as bar:
        task = bar.add_task(what, total=total)
        yield lambda done: bar.update(task, completed=done)
