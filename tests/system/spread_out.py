"""A program that spreads work over processes and says what came of it: `python -m tests.system.spread_out CASE`."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator

import psutil

from firmware_host.system.workers import workers


def square(number: int) -> int:
    return number * number


def inverse(number: int) -> float:
    return 1 / number


def number_after(wait_s: float) -> int:
    time.sleep(wait_s)
    return os.getpid()


def squares() -> list[int]:
    with workers(2) as spread:
        return list(spread(square, range(7)))


def elsewhere() -> list[bool]:
    with workers(2) as spread:
        numbers = set(spread(number_after, [0.0] * 4))
    return [os.getpid() in numbers, len(numbers) > 2]


def raised() -> str:
    try:
        with workers(2) as spread:
            list(spread(inverse, [1, 0, 2]))
    except ZeroDivisionError as error:
        return str(error)
    return "nothing"


def interrupted() -> str:
    try:
        with workers(2) as spread:
            _first(spread(number_after, [0.0, 3600.0, 3600.0]))
            raise KeyboardInterrupt("asked to end")
    except KeyboardInterrupt as error:
        return str(error)


def killed() -> None:
    with workers(2) as spread:
        spread(number_after, [3600.0] * 2)
        sys.stdout.write("at work\n")
        sys.stdout.flush()
        sys.stdin.read()


def _first(answers: Iterator[int]) -> int:
    return next(answers)


def _computing() -> int:
    """Children that compute: those that start the others, or keep an account of them, end with their parent."""
    own = psutil.Process()
    left = [(each.ppid(), " ".join(each.cmdline())) for each in own.children(recursive=True)]
    return sum(
        "resource_tracker" not in words and ("forkserver" not in words or parent != own.pid) for parent, words in left
    )


CASES: dict[str, Callable[[], object]] = {
    each.__name__: each for each in (squares, elsewhere, raised, interrupted, killed)
}

if __name__ == "__main__":
    sys.stdout.write(json.dumps({"said": CASES[sys.argv[1]](), "left": _computing()}))
