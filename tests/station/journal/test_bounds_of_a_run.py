"""A run begins only with what its journal can hold and read again."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from firmware_host.clock import VirtualClock
from firmware_host.errors import JournalError, PlanError
from firmware_host.station.journal.events import MOST_PASSES, Begin, End
from firmware_host.station.journal.journal import LARGEST_JOURNAL, LONGEST_LINE, Journal, read_journal
from firmware_host.station.run import require_countable

FAR = 10**9
"""Microsteps: farther than any job goes."""


def begin(segments: int, passes: int, **more: object) -> Begin:
    return Begin.model_validate(
        {
            **{"setup": "0" * 64, "job": "job", "machine": "machine", "port": "p", "overrun": 0, "marking": True},
            **{"targets": (-FAR,) * segments, "passes": passes, **more},
        }
    )


@pytest.mark.parametrize(("segments", "passes"), [(MOST_PASSES, 1), (100, MOST_PASSES // 100)], ids=["wide", "deep"])
def test_the_longest_run_has_a_first_line_that_is_read_again(segments: int, passes: int, tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    require_countable(segments * passes)
    event = begin(segments, passes, accepted={f"limit-{number}": "because " * 50 for number in range(100)})
    with Journal(path, VirtualClock()) as journal:
        journal.write(event)
    (read,) = read_journal(path)
    assert isinstance(read, Begin)
    assert (read.targets, read.passes, read.accepted) == (event.targets, passes, event.accepted)
    assert path.stat().st_size < LONGEST_LINE
    assert path.stat().st_size + 10 * MOST_PASSES * 200 < LARGEST_JOURNAL  # ten lines of 200 bytes for each pass


def test_a_run_of_more_passes_is_refused_before_it_begins() -> None:
    with pytest.raises(PlanError, match=r"passes of one run: 100001, limit 100000\. Mark the part in several jobs"):
        require_countable(MOST_PASSES + 1)
    with pytest.raises(ValidationError, match="more than 100000 passes in one run"):
        begin(MOST_PASSES + 1, 1)


@pytest.mark.parametrize(
    ("reason", "excess"),
    [("long " * 1_000_000, "is longer than 4000000 bytes"), ('"' * 30_000, 'holds more than 20000 "')],
    ids=["long", "quotes"],
)
def test_a_line_that_could_not_be_read_again_is_not_written(reason: str, excess: str, tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    with Journal(path, VirtualClock()) as journal:
        journal.write(begin(3, 2))
        with pytest.raises(JournalError, match=f"takes no line that {excess}; stopped before the act"):
            journal.write(End(outcome="failed", reason=reason))
        journal.write(End(outcome="failed", reason="shorter"))
    assert [event.kind for event in read_journal(path)] == ["begin", "end"]
