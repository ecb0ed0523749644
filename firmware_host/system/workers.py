"""Python processes beside this one that compute, as many as there are processors for them."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.context import BaseContext
from typing import Any, TypeAlias

from firmware_host.system.environment import set_for_now

Spread: TypeAlias = Callable[[Callable[[Any], Any], Iterable[Any]], Iterator[Any]]
"""`map`, as it works on several processes."""

MOST_WORKERS = 12
"""Each takes some 10 MB of its own, and some 35 MB where the system can't load modules once for all."""


def processors() -> int:
    """How many processors this program may use, 1 or more."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0)) or 1
    return os.cpu_count() or 1


@contextmanager
def workers(count: int, *, loaded: Sequence[str] = ()) -> Iterator[Spread]:
    """`map` on `count` processes: what it is given must be of a kind that can be pickled.

    `loaded`: modules that the work needs: loaded once for all, where the system can (a process that forks itself has
    loaded them, and shares no locks with threads of this one). An end that is asked for by Ctrl-C is heard by this
    process alone; however the block is left, none of them is left.
    """
    pool = ProcessPoolExecutor(min(count, MOST_WORKERS), _context(loaded), initializer=_work_for_parent)

    def spread(function: Callable[[Any], Any], given: Iterable[Any]) -> Iterator[Any]:
        with set_for_now(OPENBLAS_NUM_THREADS="1", PYDANTIC_DISABLE_PLUGINS="1"):
            return pool.map(function, given)

    try:
        yield spread
    finally:
        _end(pool)


def _context(loaded: Sequence[str]) -> BaseContext:
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(loaded))
    return context


def _end(pool: ProcessPoolExecutor) -> None:
    """Nothing more is begun, and whoever still computes is ended: nobody waits for it."""
    running: dict[int, Any] = dict(getattr(pool, "_processes", None) or {})
    pool.shutdown(wait=False, cancel_futures=True)
    for each in running.values():
        each.terminate()
    for each in running.values():
        each.join()


def _work_for_parent() -> None:
    """In a worker: the keyboard is the parent's, and where that is gone, killed, nobody works on."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
