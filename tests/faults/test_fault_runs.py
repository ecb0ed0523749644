"""Whole jobs under seeded faults, on boards of both dialects, held against an observer who sees the truth.

As a rule a few, in which each fault strikes each dialect; on every board with `-m slow`, CIRCUMSTEP_FAULT_RUNS=10000
for more. `pytest -s` prints the table.
"""

import os
import sys
from dataclasses import replace

import pytest

from firmware_host.simulator.device import MotionInterval
from tests.faults.fault_table import PROMISES, Table
from tests.faults.line.fault_plan import FaultKind
from tests.faults.observer import PASS_S, Observer
from tests.faults.play import Outcome, play
from tests.faults.setups import CASES

RUNS = int(os.environ.get("CIRCUMSTEP_FAULT_RUNS", "130"))
A_FEW = (2, 6, 11, 14, 15, 17, 24, 29, 40, 51, 72, 73, 110, 262)


def test_no_promise_is_broken_by_any_fault_in_either_dialect() -> None:
    all_kept(Table.of(A_FEW))


@pytest.mark.slow
@pytest.mark.timeout(max(300, RUNS))
def test_no_promise_is_broken_whatever_strikes_and_every_run_comes_to_its_end() -> None:
    table = Table.of(range(RUNS))
    all_kept(table)
    assert table.boards == set(CASES)


def all_kept(table: Table) -> None:
    sys.stdout.write("\n".join(["", *table.lines(), ""]))
    assert {promise: table.count(promise) for promise in PROMISES} == dict.fromkeys(PROMISES, 0)
    assert table.broken == []
    struck = {(dialect, name) for dialect, name, _ in table.cells}
    kinds = ("none", *(kind.value for kind in FaultKind))
    assert struck == {(dialect, name) for dialect in ("status-query", "numbered-line") for name in kinds}
    outcomes = {outcome for *_, outcome in table.cells}
    assert {Outcome.AT_ONCE, Outcome.RESUMED, Outcome.ASKED, Outcome.ANEW, Outcome.ANEW_ASKED} <= outcomes


def test_a_seed_plays_the_same_run_again() -> None:
    for seed in (3, 41, 147):
        first, second = play(seed), play(seed)
        folders = [tuple(go.split("/tmp")[0] for go in played.goes) for played in (first, second)]
        assert folders[0] == folders[1]
        assert replace(first, goes=()) == replace(second, goes=())


KEY = (1, 1)


def seen(*openings: tuple[float, float], answers: tuple[bool | None, ...] = ()) -> Observer:
    """An observer who saw the gate open for one pass between these instants, with questions behind some of them."""
    observer = Observer()
    for (opened_s, closed_s), answer in zip(openings, (*answers, *[None] * len(openings)), strict=False):
        observer.open(KEY, opened_s, 0)
        observer.close(closed_s)
        if answer is not None:
            observer.story.append((KEY, answer))
    return observer


def told(observer: Observer, *travels: tuple[float, float], ended: bool = True) -> list[str]:
    log = [MotionInterval("A", start_s, end_s, 0, 100) for start_s, end_s in travels]
    return [line.split(":")[0] for line in observer.broken_promises(log, [KEY], ended=ended)]


def test_the_observer_tells_each_broken_promise() -> None:
    whole = (10.0, 10.0 + PASS_S)
    assert told(seen(whole), (9.0, 10.0), (10.0 + PASS_S, 11.0)) == []
    assert told(seen(whole), (9.0, 10.001)) == ["gate open while moving"]
    assert told(seen(whole), (10.2, 10.3)) == ["gate open while moving"]
    assert told(seen()) == ["pass skipped"]
    assert told(seen(), ended=False) == []
    assert told(seen((10.0, 10.4))) == ["pass skipped"]
    again = (20.0, 20.0 + PASS_S)
    assert told(seen((10.0, 10.4), again)) == ["pass repeated without a question"]
    assert told(seen((10.0, 10.4), again, answers=(False,))) == []
    assert told(seen(whole, again, answers=(True,))) == ["pass repeated without a question"]


def test_the_observer_tells_a_gate_that_opens_before_the_part_has_settled() -> None:
    travel = MotionInterval("A", 9.0, 10.0, 0, 100)
    for opened_s, broken in ((10.2, ["gate open before it settled"]), (10.25, [])):
        observer = seen((opened_s, opened_s + PASS_S))
        lines = observer.broken_promises([travel], [KEY], ended=True, settle_s=0.25)
        assert [line.split(":")[0] for line in lines] == broken


def test_the_observer_tells_a_part_beside_its_place_and_a_gate_closed_late() -> None:
    observer = seen((10.0, 10.0 + PASS_S))
    observer.openings[0].off_steps = -1
    assert told(observer) == ["marked beside its place"]
    observer = Observer()
    observer.open(KEY, 10.0, 0)
    observer.shut_by(10.1)
    observer.close(13.0)
    assert told(observer) == ["gate closed late"]
