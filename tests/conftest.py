"""For all tests: on which system the package believes to run, and that nothing is left running at the end.

`CIRCUMSTEP_TEST_SYSTEM=windows pytest ...` puts the package on Windows (`tests/support/windows`); tests marked `posix`
are then left out, and those marked `windows` taken. On Windows itself they are left out, too, with the tests of the
stand-ins.
"""

from __future__ import annotations

import os
import re
import sys
import uuid
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest

from tests.support import forked, windows
from tests.support.left_running import MARK, left_running
from tests.support.some import left_for_slow
from tests.support.windows.names import NO_MODULES

hypothesis.settings.register_profile("patient", deadline=None)  # no test asserts on wall time
hypothesis.settings.load_profile("patient")

pytest_plugins = ("tests.support.browser",)
if windows.wanted():
    windows.install()
if os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):
    # The tests start hundreds of processes: each would compile the package anew, and each run the tests themselves.
    sys.dont_write_bytecode = False


_ON_WINDOWS = sys.platform == "win32"
_NEEDS_POSIX = re.compile(
    rf"^ *(import|from) ({'|'.join(sorted(NO_MODULES))})\b"
    r"|^from tests\.(support\.windows|support import windows|system\.conftest|station\.runs\.hostile)\b",
    re.MULTILINE,
)


_SLOW_S = 3600


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """On Windows itself: files that import what it lacks, and those that need the stand-ins, made of a POSIX system."""
    if not _ON_WINDOWS or collection_path.suffix != ".py":
        return None
    return bool(_NEEDS_POSIX.search(collection_path.read_text(encoding="utf-8"))) or None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what the other system has; what is slow may take its time, on a busy machine too."""
    for item in left_for_slow(items):
        item.add_marker(pytest.mark.slow)
    for item in items:
        if item.get_closest_marker("slow") and not item.get_closest_marker("timeout"):
            item.add_marker(pytest.mark.timeout(_SLOW_S))
    other = "posix" if windows.wanted() or _ON_WINDOWS else "windows"
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
        forked.end()
        left = left_running(mark)
    assert left == [], f"left running by the tests: {left}"
