"""Of a test with many parameters some run as a rule, spread evenly over their list: `@pytest.mark.some(6)`.

The others are `slow`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

import pytest


def left_for_slow(items: Iterable[pytest.Item]) -> Iterator[pytest.Item]:
    """The items of each marked test that do not run as a rule; those that are slow anyway do not count."""
    tests: defaultdict[tuple[str, int], list[pytest.Item]] = defaultdict(list)
    for item in items:
        mark = item.get_closest_marker("some")
        if mark is not None and item.get_closest_marker("slow") is None:
            tests[item.nodeid.partition("[")[0], mark.args[0]].append(item)
    for (_, most), each in tests.items():
        yield from (item for number, item in enumerate(each) if not is_of_some(number, len(each), most))


def is_of_some(number: int, count: int, most: int) -> bool:
    """Whether the one with this `number` (0 ... `count` - 1) is among `most` (>= 1) that are spread evenly."""
    return count <= most or number * most // count != (number - 1) * most // count
