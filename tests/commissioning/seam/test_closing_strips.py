"""The strips of a full wrap, marked on a part that is not as its files say and read by eye: what `seam` makes of it."""

from __future__ import annotations

import pytest

from firmware_host.cli.measure.seam_places import closing_reading, vernier_readings
from firmware_host.commissioning.marks.comb import LINES
from firmware_host.commissioning.seam.diagnosis import diagnose
from firmware_host.commissioning.seam.marked import marked_part
from firmware_host.errors import InputError
from firmware_host.model import load_job
from firmware_host.planning.plan import plan_layout
from tests.commissioning.seam.true_part import Fault, mark

WRAP = load_job("heavy-shaft").with_values({"window.telecentric": True})
LAYOUT = plan_layout(WRAP)
PART = marked_part(WRAP, LAYOUT)
SPACING = 0.5e-3


def read_by_eye(gap: float) -> str:
    """Which lines meet best at this gap (m): the number at the segment's end, and that of the next one's start."""
    pairs = ((i, j) for i in range(-LINES, LINES + 1) for j in range(-LINES, LINES + 1))
    first, second = min(pairs, key=lambda pair: (abs((pair[0] - 0.9 * pair[1]) * SPACING - gap), abs(pair[1])))
    return f"{first:+d}/{second:+d}"


@pytest.mark.parametrize(
    ("fault", "cause"),
    [
        pytest.param(Fault(ratio=0.004), "ratio", id="ratio, summed over the turn"),
        pytest.param(Fault(part=0.006), "part-diameter", id="diameter, the same at each seam"),
        pytest.param(Fault(lost_motion=0.25e-3), "lost-motion", id="lost motion, at the ends alone"),
    ],
)
def test_what_adds_up_over_the_turn_is_told_from_what_does_not(fault: Fault, cause: str) -> None:
    part = mark(WRAP, LAYOUT, fault)
    inner = round((part.gap(1)) / SPACING * 10)
    closing = read_by_eye(part.gap(part.seams))
    later = round((part.gap(5)) / SPACING * 10)
    readings = [
        *vernier_readings(PART, [f"1={inner:+d}", f"5={later:+d}"], SPACING),
        *closing_reading(PART, closing, SPACING),
    ]
    found = diagnose(WRAP, PART, readings)
    assert found.suspects[0].key == cause
    assert set(found.alike) == {cause, *(("marked-width",) if cause == "part-diameter" else ())}


def test_a_closing_gap_of_several_spacings_is_one_reading_at_the_closing_seam() -> None:
    (reading,) = closing_reading(PART, "5/4", SPACING)
    assert (reading.seam, reading.gap) == (16, pytest.approx((5 - 3.6) * SPACING))
    assert reading.within == pytest.approx(0.025e-3)
    (same,) = closing_reading(PART, "-4", SPACING)
    assert same.gap == pytest.approx(-0.2e-3)
    assert not list(closing_reading(PART, "", SPACING))


@pytest.mark.parametrize("written", ["5/", "a/b", "5/4/3", "5 mm"], ids=str)
def test_what_names_no_lines_is_no_reading(written: str) -> None:
    with pytest.raises(InputError, match="is no reading"):
        list(closing_reading(PART, written, SPACING))
