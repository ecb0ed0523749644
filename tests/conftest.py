"""For all tests: on which system the package believes to run, and that nothing is left running at the end.

`CIRCUMSTEP_TEST_SYSTEM=windows pytest ...` puts the package on Windows (`tests/support/windows`); tests marked `posix`
are then left out, and those marked `windows` taken.
"""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator

import pytest

from tests.support import windows
from tests.support.left_running import MARK, left_running

if windows.wanted():
    windows.install()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what the other system has."""
    other = "posix" if windows.wanted() else "windows"
    left_out = [item for item in items if item.get_closest_marker(other)]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if not item.get_closest_marker(other)]


@pytest.fixture(scope="session", autouse=True)
def _nothing_left_running() -> Iterator[None]:
    """No process that a test has started, or that such a one has started, outlives the tests."""
    mark = uuid.uuid4().hex
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(os.environ, MARK, mark)
        yield
        left = left_running(mark)
    assert left == [], f"left running by the tests: {left}"
