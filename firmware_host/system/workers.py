"""Python processes beside this one that compute, as many as there are processors for them."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any, TypeVar

from firmware_host.system.environment import set_for_now

Given = TypeVar("Given")
Made = TypeVar("Made")

MOST_WORKERS = 6
"""Each takes some 35 MB of its own."""


def processors() -> int:
    """How many processors this program may use, 1 or more."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0)) or 1
    return os.cpu_count() or 1


@contextmanager
def workers(count: int) -> Iterator[Callable[[Callable[[Given], Made], Iterable[Given]], Iterator[Made]]]:
    """`map` on `count` processes: what it is given must be of a kind that can be pickled.

    They are started anew (a program that was forked shares locks with threads that it hasn't got). An end that is asked
    for by Ctrl-C is heard by this process alone; however the block is left, none of them is left.
    """
    pool = ProcessPoolExecutor(
        min(count, MOST_WORKERS), multiprocessing.get_context("spawn"), initializer=_hear_no_keyboard
    )

    def spread(function: Callable[[Given], Made], given: Iterable[Given]) -> Iterator[Made]:
        with set_for_now(OPENBLAS_NUM_THREADS="1", PYDANTIC_DISABLE_PLUGINS="1"):
            return pool.map(function, given)

    try:
        yield spread
    finally:
        _end(pool)


def _end(pool: ProcessPoolExecutor) -> None:
    """Nothing more is begun, and whoever still computes is ended: nobody waits for it."""
    running: dict[int, Any] = dict(getattr(pool, "_processes", None) or {})
    pool.shutdown(wait=False, cancel_futures=True)
    for each in running.values():
        each.terminate()
    for each in running.values():
        each.join()


def _hear_no_keyboard() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
