"""One thing wrong on a simulated machine: it is found from the seams, or else by what is to be measured next.

The parts are marked by `true_part.py`, which shares nothing with the causes that are looked for.
"""

from __future__ import annotations

import random
from collections import Counter

import pytest

from firmware_host.commissioning.seam.diagnosis import diagnose
from tests.commissioning.seam.cases import draw_case


def _shares(seed: int, cases: int) -> tuple[Counter[str], Counter[str]]:
    """How many cases there were of each kind, and of how many the true cause was found in each way."""
    rng = random.Random(seed)
    number: Counter[str] = Counter()
    found: Counter[str] = Counter()
    for _ in range(cases):
        case = draw_case(rng)
        readings = case.seams(rng)
        told = diagnose(case.setup, case.part, readings)
        order = [each.key for each in told.suspects]
        if len(told.alike) == 1:
            number["separable"] += 1
            found["first"] += order[0] == case.key
            found["first two"] += case.key in order[:2]
            continue
        number["alike"] += 1
        found["among them"] += case.key in told.alike
        assert told.next_readings, (case.key, told.alike)
        for trip in range(2):
            for measurement in told.next_readings:
                readings += case.measured(rng, measurement)
            told = diagnose(case.setup, case.part, readings)
            if trip == 0:
                found["after one trip"] += told.suspects[0].key == case.key and len(told.alike) == 1
        found["after two trips"] += told.suspects[0].key == case.key
    return number, found


@pytest.mark.parametrize(
    ("seed", "cases"), [pytest.param(1, 60, id="60"), pytest.param(2, 500, id="500", marks=pytest.mark.slow)]
)
def test_the_true_cause_stands_first_or_is_told_apart_by_what_is_to_be_measured(seed: int, cases: int) -> None:
    number, found = _shares(seed, cases)
    assert number["separable"] >= cases * 0.3
    assert found["first"] >= 0.9 * number["separable"]
    assert found["first two"] >= 0.98 * number["separable"]
    assert found["among them"] == number["alike"]
    assert found["after one trip"] >= 0.9 * number["alike"]
    assert found["after two trips"] >= 0.98 * number["alike"]
