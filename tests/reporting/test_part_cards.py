"""The card of a batch: each part's line is what its own card says, and circle geometry, written here again."""

from __future__ import annotations

import math
from typing import Any

import pytest

from firmware_host.model import Setup, load_job
from firmware_host.planning.many.cards import cards_for_many
from firmware_host.planning.plan import place_segments, plan_layout
from firmware_host.reporting.plans.card import card_document
from firmware_host.reporting.plans.part_cards import MOST_PARTS, part_cards_document
from firmware_host.reporting.render.json import json_document
from tests.reporting.shown import JOBS, shipped
from tests.reporting.test_card import lines_of

MEASURED_MM = (50.0, 50.2, 49.8, 60.0)
BATCH = [{"serial": f"A-{number}", "part.diameter": f"{size} mm"} for number, size in enumerate(MEASURED_MM, 1)]


def told(setup: Setup, table: Any) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json_document(part_cards_document(setup, cards_for_many(setup, table)))["part_cards"]
    return rows


def test_each_part_has_its_own_strips_and_its_crown_stands_half_the_difference_of_diameters_higher() -> None:
    """60 mm of arc in crown focus, 0.5 mm deep: n = ceil(A/(2 r acos(1 - w/r)))."""
    for row, size in zip(told(load_job("shaft-scale"), BATCH), MEASURED_MM, strict=True):
        radius = size / 2
        count = math.ceil(60 / (2 * radius * math.acos(1 - 0.5 / radius)))
        width = 60 / count
        assert row["segments"] == count
        assert row["diameter_mm"] == pytest.approx(size)
        assert (row["width_mm"], row["pitch_mm"]) == (pytest.approx(width), pytest.approx(width))
        assert row["drawn_width_mm"] == pytest.approx(2 * radius * math.sin(width / 2 / radius))
        assert row["crown_rise_mm"] == pytest.approx((size - 50) / 2, abs=1e-9)
        assert row["begins_mm"] == pytest.approx(-width / 2)


@pytest.mark.parametrize("job", JOBS)
def test_a_line_says_what_the_parts_own_card_says(job: str) -> None:
    setup, plan = shipped(job)
    (row,) = told(setup, [{"serial": "only"}])
    card = json_document(card_document(setup, plan.layout))
    strips = card["strips"]
    assert row["segments"] == card["segments"]
    assert row["width_mm"] == pytest.approx(max(strip["width_mm"] for strip in strips))
    assert row["narrowest_mm"] == pytest.approx(min(strip["width_mm"] for strip in strips))
    assert row["pitch_mm"] == pytest.approx(max(strip["pitch_mm"] or 0 for strip in strips))
    assert row["focus_below_crown_mm"] == card["focus"]["below_crown_mm"]
    assert (row["overlap_mm"], row["drawn_width_mm"]) == (card["flat"]["overlap_mm"], card["flat"]["drawn_width_mm"])
    assert row["begins_mm"] == pytest.approx(card["start"]["begins_mm"])


@pytest.mark.parametrize("job", JOBS)
def test_the_segments_placed_alone_are_those_of_the_whole_layout(job: str) -> None:
    setup = load_job(job)
    assert place_segments(setup) == plan_layout(setup).segments


def test_a_part_that_cannot_be_laid_out_says_why_and_the_others_stand() -> None:
    setup = load_job("shaft-scale")
    cards = cards_for_many(setup, [{"part.diameter": "0.9 mm"}, {"part.diameter": "50 mm"}])
    assert [card.strips is None for card in cards] == [True, False]
    first, second = told(setup, [{"part.diameter": "0.9 mm"}, {"part.diameter": "50 mm"}])
    assert "deeper than the part's radius" in first["trouble"]
    assert first["width_mm"] is None
    assert second["crown_rise_mm"] == 0  # it is the first that can be


@pytest.mark.parametrize("job", ["shaft-scale", "heavy-shaft", "sleeve-label"])
def test_the_card_of_a_long_batch_fits_a_page(job: str) -> None:
    setup = load_job(job)
    table = [{"serial": f"A-{number:04}-of-a-long-name", "text": "x" * 50} for number in range(1, 501)]
    lines = lines_of(part_cards_document(setup, cards_for_many(setup, table)))
    assert len(lines) <= 60
    assert max(map(len, lines)) <= 80
    numbers = [line.split()[0] for line in lines[-(MOST_PARTS + 1) :]]
    assert numbers == [*map(str, range(1, 16)), "...", *map(str, range(486, 501))]


def test_of_strips_that_differ_the_pitch_is_told_and_of_equal_ones_how_wide_to_draw_them_flat() -> None:
    equal, differ = (
        lines_of(part_cards_document(setup, cards_for_many(setup, [{}])))
        for setup in (load_job("shaft-scale"), load_job("sleeve-label"))
    )
    assert "flat mm" in equal[-2]
    assert "pitch mm" not in equal[-2]
    assert "pitch mm" in differ[-2]
    assert "flat mm" not in differ[-2]
