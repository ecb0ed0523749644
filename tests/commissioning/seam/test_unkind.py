"""Readings of seams that nobody wishes for: one clear error, or causes that are told with numbers."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.commissioning.seam.diagnosis import diagnose
from firmware_host.commissioning.seam.marked import marked_part
from firmware_host.commissioning.seam.readings import (
    MarkedWidth,
    PartDiameter,
    PartLine,
    Reading,
    Reversal,
    RollerDiameter,
    SeamReading,
    ShaftLine,
    StepReading,
)
from firmware_host.commissioning.seam.symptoms import Symptom
from firmware_host.errors import FirmwareHostError, InputError
from tests.commissioning.seam.cases import parts

lengths = st.one_of(
    st.floats(-2e-3, 2e-3), st.sampled_from([0.0, 0.05, -0.05, 1.0, -1.0, 1e3, 1e150, math.nan, math.inf])
)
limits = st.sampled_from([1e-9, 1e-6, 5e-5, 1e-3, 1.0, 0.0, math.nan])
turns = st.sampled_from([1.0, 20.0, 0.0, -3.0, 1e5, 1e308, math.nan])
KINDS = (
    lambda within, value, many: SeamReading(within, value, max(1, int(many) % 9 if math.isfinite(many) else 1)),
    lambda within, value, _: PartDiameter(within, value),
    lambda within, value, _: RollerDiameter(within, value),
    lambda within, value, _: MarkedWidth(within, value),
    lambda within, value, many: PartLine(within, value, many),
    lambda within, value, many: ShaftLine(within, value, many),
    lambda within, value, _: Reversal(within, value),
    lambda within, value, _: StepReading(within, value),
)
typed = st.tuples(st.integers(0, len(KINDS) - 1), limits, lengths, turns)


@settings(deadline=None, max_examples=15)
@given(
    which=st.integers(0, 7), said=st.lists(typed, max_size=6), alike=st.booleans(),
    looks=st.lists(st.sampled_from(list(Symptom)), max_size=2),
)  # fmt: skip
@pytest.mark.filterwarnings("error")
def test_whatever_was_read_of_a_part_is_refused_or_told_in_numbers(
    which: int, said: list[tuple[int, float, float, float]], alike: bool, looks: list[Symptom]
) -> None:
    setup, layout = parts()[which]
    part = marked_part(setup, layout)
    try:
        readings: list[Reading] = [KINDS[kind](*values) for kind, *values in (said[:1] * 4 if alike else said)]
        told = diagnose(setup, part, readings, looks)
    except FirmwareHostError:
        return
    assert sum(each.likely for each in told.suspects) + told.nothing == pytest.approx(1.0)
    for each in told.suspects:
        if each.amount is not None and each.within is not None:
            assert math.isfinite(each.amount)
            assert 0 < each.within < math.inf


@pytest.mark.parametrize("value", [math.nan, math.inf, 1e9])
def test_what_is_no_size_of_a_part_is_refused(value: float) -> None:
    with pytest.raises(InputError, match="look at the number and its unit"):
        PartLine(1e-4, 0.0, value)
    with pytest.raises(InputError, match="look at the number and its unit"):
        SeamReading(1e-4, value, 1)
