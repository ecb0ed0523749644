"""Batches in real processes on a real line, killed with SIGKILL, and resumed by another process until they are done."""

import os
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.listing import verify_batch
from tests.faults import killed_batch, killed_run
from tests.support.batch_bench import Key

LINES = 60
"""About how many lines the journals of the batch and of its runs have together."""
MOST_DEATHS = 3

pytestmark = pytest.mark.posix("SIGKILL")


def go(home: Path, url: str, act: str, *dying: str, stages: int | None = None) -> int:
    """Run or resume the batch in a process of its own, killed after so many stages are told; its exit status."""
    command = [sys.executable, killed_batch.__file__, str(home), url, act, *dying]
    with (home / "errors").open("a") as errors:
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, text=True)
        with process:
            if stages is not None and process.stdout is not None:
                for _ in range(stages):
                    process.stdout.readline()
                os.kill(process.pid, signal.SIGKILL)
            process.communicate()
    return process.returncode


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, *range(100, 130)])
def test_a_batch_killed_anywhere_is_resumed_and_every_pass_is_marked_as_recorded(seed: int, tmp_path: Path) -> None:
    random = Random(seed)
    folder = BatchFolder(tmp_path / "batch")
    with killed_run.real_board() as server:
        for death in range(MOST_DEATHS):
            begun = folder.journal.exists() and folder.journal.stat().st_size > 0
            act = "resume" if begun else "run"
            if random.random() < 0.5:
                status = go(
                    tmp_path,
                    server.url,
                    act,
                    random.choice(["before", "after"]),
                    str(random.randint(2, LINES // (1 + death))),
                )
            else:
                status = go(tmp_path, server.url, act, stages=random.randint(1, 30 // (1 + death)))
            if status == 0:
                break
            assert status == -signal.SIGKILL, (tmp_path / "errors").read_text()
        state = killed_batch.state_of(folder)
        if state.outcome != "done":
            act = "resume" if state.begin is not None else "run"
            assert go(tmp_path, server.url, act) == 0, (tmp_path / "errors").read_text()
    every_pass_as_recorded(tmp_path, folder)


def every_pass_as_recorded(home: Path, folder: BatchFolder) -> None:
    ended, began = (killed_batch.noted(home / "marked", word) for word in ("ended", "began"))
    asked = killed_batch.noted(home / "asked", "not-done")
    assert ended == killed_batch.recorded(folder)
    everything: Counter[Key] = Counter(
        (part, segment, number) for part in (1, 2, 3) for segment in (1, 2) for number in (1, 2)
    )
    state = killed_batch.state_of(folder)
    assert [part.word for part in state.parts] in (["good", "redone", "scrapped"], ["good", "good", "scrapped"])
    everything[2, 2, 1] += state.parts[1].word == "redone"
    assert ended == everything
    assert all(count <= ended[key] + asked[key] for key, count in began.items())
    assert [finding for finding in verify_batch(folder) if not finding.holds] == []
