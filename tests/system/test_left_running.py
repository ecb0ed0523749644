"""The search for processes that a test has left running finds them, grandchildren without a parent too."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid

import psutil

from tests.support.left_running import MARK, left_running

SLEEPER = "import time; time.sleep(1000)"
PARENT = (
    "import subprocess, sys; "
    f"print(subprocess.Popen([sys.executable, '-c', {SLEEPER!r}], stdout=subprocess.DEVNULL).pid, flush=True)"
)


def test_what_still_runs_is_told_with_its_command_and_what_has_ended_is_not() -> None:
    mark = uuid.uuid4().hex
    environment = os.environ | {MARK: mark}
    parent = subprocess.run([sys.executable, "-c", PARENT], env=environment, stdout=subprocess.PIPE, text=True)
    orphan = psutil.Process(int(parent.stdout.split()[0]))
    try:
        (told,) = left_running(mark, patience_s=0.0)
        assert told.startswith(f"{orphan.pid}: {sys.executable} -c import time")
    finally:
        orphan.kill()
    assert left_running(mark) == []
    assert left_running(uuid.uuid4().hex, patience_s=0.0) == []
