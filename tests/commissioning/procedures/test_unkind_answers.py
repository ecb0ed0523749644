"""A person who types what nobody wishes for: each procedure ends in what it found, honestly, or in one clear error."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import cast

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.errors import FirmwareHostError
from firmware_host.model import load_job
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from firmware_host.station.hand.hand import Hand
from tests.commissioning.procedures.motor.heavy_bench import SHAFT, Forgets, LooseHand, bench_with

PROCEDURES = ("ratio", "lost-motion", "run-out", "grip", "drag", "inertia", "power-off", "warm-up")

#: Sensible sizes in SI, in a wrong unit, with a wrong sign, nothing, beyond all measures, no number.
typed = st.one_of(
    st.floats(0.01, 2.0),
    st.floats(-0.02, 0.02),
    st.sampled_from([0.0, 1.0, -1.0, 1e-6, 1e3, 1e9, -1e9, 1e150, 1e-300, math.nan, math.inf, -math.inf]),
)


@cache
def rollers() -> HandPlan:
    return hand_on_job(load_job("tumbler-wrap"))


class Types(Person):
    """Answers by turns with what is given, over and over."""

    def __init__(self, choices: list[int], numbers: list[float]) -> None:
        self.choices, self.numbers, self.asked = choices, numbers, 0

    def tell(self, text: str) -> None:
        assert "nan" not in text.split()

    def answer(self, ask: Ask) -> Answer:
        self.asked += 1
        if ask.kind == "choice":
            return ask.choices[self.choices[self.asked % len(self.choices)] % len(ask.choices)]
        return self.numbers[self.asked % len(self.numbers)]


@pytest.mark.parametrize("key", PROCEDURES)
@settings(deadline=None, max_examples=25)
@given(choices=st.lists(st.integers(0, 3), min_size=1, max_size=5), numbers=st.lists(typed, min_size=1, max_size=9))
@example(choices=[0], numbers=[0.5, 0.25, 3e-187, 1.0, 1.0])
def test_whatever_is_typed_it_ends_in_one_clear_error_or_in_honest_findings(
    key: str, choices: list[int], numbers: list[float]
) -> None:
    plan = rollers() if key == "grip" else SHAFT
    hand = LooseHand(plan)
    bench = replace(bench_with(key, plan), setup=None if key == "warm-up" else plan.setup, paced=key == "grip")
    try:
        found = carry_out(
            procedure_named(key), bench, cast("Hand", hand), Types(choices, numbers), cast("Record", Forgets())
        )
    except FirmwareHostError:
        return
    for each in found:
        assert_honest(each)


def assert_honest(finding: Finding) -> None:
    """Numbers throughout, an interval with a width about the value, and no nonsense to write."""
    measured = finding.measured
    assert all(map(math.isfinite, (measured.value, measured.lowest, measured.highest))), finding
    assert measured.lowest <= measured.value <= measured.highest, finding
    assert measured.lowest < measured.highest, finding
    for change in (finding.change, *finding.also):
        if change is not None:
            words = str(change.value).split()
            assert words[0] not in ("nan", "inf", "-inf"), change
            if words[0][-1].isdigit():
                assert float(words[0]) >= 0, change
