"""No key without effect: on random pairs, another value of each key changes a computed figure, a verdict or a move."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

import firmware_host as fh
from firmware_host.planning.limits.limit import Limit
from tests.independent.drawing import Table
from tests.independent.effects import computed, differ, drawn
from tests.independent.keys import Place, keys_of, other_values, places, with_value
from tests.independent.pairs import pair
from tests.independent.read_elsewhere import NOT_YET_READ, READ_ELSEWHERE

ROOT = Path(fh.__file__).parent
KEYS = keys_of(fh.Machine, "machine") | keys_of(fh.Job, "job")
ASKED = KEYS.keys() - READ_ELSEWHERE.keys() - NOT_YET_READ.keys()
PROVED_FILE = Path(__file__).with_name("proved_keys.txt")
PROVED = set(PROVED_FILE.read_text(encoding="utf-8").split())
"""Keys that the full check has found an effect of; a key that is not among them is looked at every time."""
ALL, SAMPLE, TRIES, QUICK = 2000, 400, 100, 8


class Effects:
    """Looks for the effect of each key on the pairs that have it."""

    def __init__(self, seeds: Iterable[int]) -> None:
        self.pairs = {seed: pair(seed) for seed in seeds}
        self.places: dict[str, list[tuple[int, Place]]] = defaultdict(list)
        for seed, (machine, job) in self.pairs.items():
            for key, place in [*places(machine, "machine"), *places(job, "job")]:
                self.places[key].append((seed, place))
        # little is assumed of what is described in full, and a stated motion needs no search
        self.effort = {s: ("speed" not in job["index"], -len(str(m))) for s, (m, job) in self.pairs.items()}
        self._before: dict[tuple[int, bool], list[float | str] | None] = {}

    def found(self, key: str, tries: int) -> bool:
        """Whether another value at `key` changes something in one of the first `tries` pairs that have it."""
        quickest = sorted(self.places[key], key=lambda at: self.effort[at[0]])
        asked = list(dict.fromkeys([*quickest[:QUICK], *self.places[key][:tries]]))
        # a little more of it, or none at all, is asked everywhere first
        return any(self._changes(key, *at, few=few) for few in (True, False) for at in asked)

    def _changes(self, key: str, seed: int, place: Place, *, few: bool) -> bool:
        machine, job = self.pairs[seed]
        by_draws = ".tolerances." in key
        if (seed, by_draws) not in self._before:
            self._before[seed, by_draws] = _figures(machine, job, by_draws)
        before = self._before[seed, by_draws]
        if before is None or str(before[0]).startswith("refused"):
            return False
        at = _at(machine if key.startswith("machine.") else job, place)
        sizes = [each["diameter"] for each in job["part"].get("cylinders", ())]  # one of them, or it is refused
        values = [*other_values(at, KEYS[key]), *(sizes if at in sizes else ())]
        for value in dict.fromkeys([values[0], values[-1]]) if few and len(values) > 2 else values:
            after = _figures(*_changed(machine, job, key, place, value), by_draws)
            if after is not None and differ(before, after):
                return True
        return False


def _figures(machine: Table, job: Table, by_draws: bool) -> list[float | str] | None:
    found = computed(machine, job)
    if not by_draws or found is None or str(found[0]).startswith("refused"):
        return found
    return drawn(machine, job)


def _changed(machine: Table, job: Table, key: str, place: Place, value: object) -> tuple[Table, Table]:
    if key.startswith("machine."):
        return with_value(machine, place, value), job
    return machine, with_value(job, place, value)


def _at(table: Table, place: Place) -> object:
    for step in place:
        table = table[step]  # type: ignore[index]
    return table


@pytest.fixture(scope="module", autouse=True)
def no_remedies() -> Iterator[None]:
    """Remedies are words, and trying them takes most of the time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Limit, "helped", lambda self, found, case: found)
        yield


@pytest.fixture(scope="module")
def effects() -> Effects:
    return Effects(range(SAMPLE))


def test_each_key_is_drawn_or_said_to_be_read_elsewhere(effects: Effects) -> None:
    known = READ_ELSEWHERE.keys() | NOT_YET_READ.keys()
    assert KEYS.keys() - effects.places.keys() - known == set(), "draw these in tests/independent/drawn_*.py"
    assert known - KEYS.keys() == set(), "no such keys"


def test_each_new_key_and_a_sample_of_the_others_change_a_figure(effects: Effects) -> None:
    asked = sorted(ASKED - PROVED) + sorted(ASKED & PROVED)[::15]
    without = [key for key in asked if not effects.found(key, TRIES)]
    assert not without, f"{len(without)} keys change nothing: {without}"


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_each_key_changes_a_figure_on_2000_pairs() -> None:
    effects = Effects(range(ALL))
    without = sorted(key for key in ASKED if not effects.found(key, ALL))
    assert not without, f"{len(without)} keys change nothing: {without}"
    assert PROVED == ASKED, f"write them all into {PROVED_FILE.name}"


def test_a_key_that_changes_no_figure_is_read_where_it_is_said_to_be() -> None:
    for key, (_, where) in READ_ELSEWHERE.items():
        name = key.rpartition(".")[2]
        assert name in (ROOT / where).read_text(encoding="utf-8"), f"{key} is not read in {where}"
