"""The part laid flat, against figures worked out by hand."""

from __future__ import annotations

import math

import pytest

from firmware_host.page.surface import MOST_CELLS, Surface
from firmware_host.planning.plan import plan_job
from tests.support.station_bench import changed_setup


def surface(count: int, arc: str = "60 mm", **passes: int) -> Surface:
    setup = changed_setup("shaft-scale", mark={"arc": arc}, segments={"count": count})
    return Surface(plan_job(setup), dict.fromkeys(range(1, count + 1), (0, 2)), 1)


def test_each_segment_has_its_cell_where_it_lies_around() -> None:
    shape = surface(6).shape()
    # By hand: 60 mm of 50 mm * pi in six is 10 mm each, 10 / (50 * pi) of the circumference.
    each = 10 / (50 * math.pi)
    assert (shape["segments"], shape["each"]) == (6, 1)
    for number, (low, high) in enumerate(shape["cells"]):
        assert low == pytest.approx(number * each, abs=2e-6)
        assert high == pytest.approx((number + 1) * each, abs=2e-6)


def test_letters_tell_done_partly_to_do_and_not_asked_for() -> None:
    setup = changed_setup("shaft-scale", mark={"arc": "60 mm"}, segments={"count": 6})
    part = Surface(plan_job(setup), {2: (0, 2), 3: (1, 2), 4: (2, 2), 5: (0, 0)}, 1)
    assert part.letters() == "ntpdnn"
    part.mark(2, 2, 2)
    part.mark(4, 1, 2)
    assert part.letters() == "ndppnn"
    assert [part.cell_of(segment) for segment in (0, 1, 6, 7)] == [None, 0, 5, None]


def test_many_segments_share_cells_and_a_cell_is_done_when_all_of_them_are() -> None:
    part = surface(1000)
    shape = part.shape()
    # By hand: 1000 in at most 360 cells are three to a cell, 334 cells, the last of one segment.
    assert shape["each"] == 3
    assert len(shape["cells"]) == 334 <= MOST_CELLS
    assert len(part.letters()) == 334
    part.mark(1, 2, 2)
    part.mark(2, 2, 2)
    assert part.letters()[:2] == "pt"
    part.mark(3, 2, 2)
    assert part.letters()[:2] == "dt"
    part.mark(1000, 2, 2)
    assert part.letters()[-2:] == "td"
    assert part.cell_of(1000) == 333
    assert shape["cells"][0][1] == pytest.approx(3 * 60e-3 / 1000 / (math.pi * 50e-3), abs=2e-6)
