"""The card of the marking side: its figures are those of circle geometry, written here again, and of the plan."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import pytest

from firmware_host.model import Machine, Setup, load_job
from firmware_host.planning.layout.strips import Focus, focus_of, strips
from firmware_host.planning.plan import plan_layout
from firmware_host.reporting.document import Document
from firmware_host.reporting.plans.card import MOST_STRIPS, card_document
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.render.plain import grid_lines
from firmware_host.reporting.render.short import short_parts
from tests.reporting.shown import JOBS, shipped
from tests.support.station_bench import changed_setup

MM = pytest.approx


def card_of(setup: Setup) -> Document:
    return card_document(setup, plan_layout(setup))


def told(setup: Setup) -> dict[str, Any]:
    return json_document(card_of(setup))


def lines_of(document: Document) -> list[str]:
    lines: list[str] = []
    for part in short_parts(document):
        lines += [part] if isinstance(part, str) else grid_lines(part) or ["too wide"]
    return lines


def with_axis(setup: Setup, **keys: Any) -> Setup:
    document = setup.machine.model_dump(mode="json", exclude_none=True)
    return replace(setup, machine=Machine.model_validate(document | {"axis": document["axis"] | keys}))


# A shaft of 50 mm, a mark of 60 mm in 6 strips: r = 25 mm, phi = 0.4 rad, all of it worked out from the circle.
R, ARC, COUNT = 25.0, 60.0, 6
PHI = ARC / COUNT / R


def test_width_and_pitch_are_arcs_of_the_circle() -> None:
    values = told(load_job("shaft-scale"))
    assert values["segments"] == COUNT
    assert values["passes"] == 2
    assert values["passes_in_all"] == 12
    assert values["width_mm"] == MM(R * PHI)
    assert values["pitch_mm"] == MM(R * PHI)
    assert values["whole_mm"] == MM(ARC)
    assert [strip["from_mm"] for strip in values["strips"]] == MM([k * R * PHI for k in range(COUNT)], abs=1e-9)
    assert [strip["part_deg"] for strip in values["strips"]] == MM([math.degrees(k * PHI) for k in range(COUNT)])
    assert values["strips"][-1]["pitch_mm"] is None
    assert values["start"]["begins_mm"] == MM(-R * PHI / 2)


def test_flat_strips_overlap_by_what_the_ray_straight_down_adds_at_both_edges() -> None:
    """A ray at x meets the circle where the arc is r asin(x/r): each edge lands that much too far out."""
    flat = told(load_job("shaft-scale"))["flat"]
    half = R * PHI / 2
    assert flat["corrected"] is None
    assert flat["overlap_mm"] == MM(2 * (R * math.asin(half / R) - half), rel=1e-6)
    assert flat["drawn_width_mm"] == MM(2 * R * math.sin(PHI / 2))
    assert R * math.asin(flat["drawn_width_mm"] / 2 / R) == MM(half)  # its edge lands where it belongs


@pytest.mark.parametrize(
    ("corrected", "sentence"),
    [
        pytest.param(True, "The laser draws for a round surface: enter the widths as they are.", id="corrected"),
        pytest.param(False, "The laser draws flat, and does not correct for the round surface:", id="not corrected"),
    ],
)
def test_the_card_says_what_drawing_flat_does_only_where_nothing_corrects_it(corrected: bool, sentence: str) -> None:
    window = {"half_depth": "0.5 mm", "flat_field_corrected": corrected}
    lines = lines_of(card_of(changed_setup("shaft-scale", window=window)))
    assert sentence in lines
    assert any("overlap" in line for line in lines) is not corrected


def test_balanced_focus_is_half_the_sag_below_the_crown_and_crown_focus_on_it() -> None:
    """Sag s = r (1 - cos phi/2); a window of 0.5 mm takes two of it in balanced focus."""
    balanced = changed_setup("shaft-scale", window={"half_depth": "0.5 mm", "focus": "balanced"})
    values = told(balanced)
    phi = ARC / values["segments"] / R
    sag = R * (1 - math.cos(phi / 2))
    assert values["segments"] == math.ceil(ARC / (2 * R * math.acos(1 - 1.0 / R)))
    assert values["focus"]["below_crown_mm"] == MM(sag / 2)
    assert {strip["focus_below_crown_mm"] for strip in values["strips"]} == {values["focus"]["below_crown_mm"]}
    assert told(load_job("shaft-scale"))["focus"]["below_crown_mm"] == 0
    assert "Focus, for every strip: on the crown, the part's highest line" in lines_of(card_of(load_job("shaft-scale")))


def test_of_unequal_strips_the_focus_holds_the_widest_and_the_pitch_is_half_of_both_widths() -> None:
    """The sleeve of 32 mm is cut in the gaps at 9, 17, 27 and 35.5 mm of 44 mm."""
    values = told(load_job("sleeve-label"))
    edges = [0.0, 9.0, 17.0, 27.0, 35.5, 44.0]
    widths = [end - begin for begin, end in itertools.pairwise(edges)]
    assert [strip["width_mm"] for strip in values["strips"]] == MM(widths)
    assert [strip["from_mm"] for strip in values["strips"]] == MM(edges[:-1], abs=1e-9)
    pitches = [(one + other) / 2 for one, other in itertools.pairwise(widths)]
    assert [strip["pitch_mm"] for strip in values["strips"]][:-1] == MM(pitches)
    assert values["width_mm"] is None
    sag = 16 * (1 - math.cos(max(widths) / 2 / 16))
    assert values["focus"]["below_crown_mm"] == MM(sag / 2)
    assert values["start"]["first_centre_deg"] == MM(-20)
    assert values["start"]["begins_mm"] == MM(-math.radians(20) * 16 - 4.5)
    lines = lines_of(card_of(load_job("sleeve-label")))
    assert "Width of each strip, at least (see the table): 8.000 mm" in lines
    assert "Width of each strip, at most: 10.000 mm" in lines


def test_a_full_wrap_has_a_pitch_back_to_the_first_strip() -> None:
    values = told(load_job("bottle-band"))
    assert [strip["pitch_mm"] for strip in values["strips"]] == MM([math.pi * 80 / values["segments"]] * 13)
    assert sum(strip["pitch_mm"] for strip in values["strips"]) == MM(math.pi * 80)


def test_the_crown_stands_the_radius_above_a_chucks_axis_and_above_the_rollers_by_the_three_centres() -> None:
    assert told(load_job("shaft-scale"))["focus"]["crown_above_axis_mm"] == MM(R)
    bottle = load_job("bottle-band")
    drive = bottle.machine.drive.cradle
    assert drive is not None
    roller, apart = drive.roller_diameter * 1e3, drive.centre_distance * 1e3
    rise = math.sqrt(((80 + roller) / 2) ** 2 - (apart / 2) ** 2)
    assert told(bottle)["focus"]["crown_above_axis_mm"] == MM(40 + rise)
    assert told(load_job("tumbler-wrap"))["focus"]["crown_above_axis_mm"] is None


def test_on_a_cone_that_is_not_levelled_the_edges_of_the_band_stand_higher_and_lower() -> None:
    """12 mm of diameter over 170 mm: the radius changes by 6/170 for each mm, 10 mm to either side."""
    tumbler = load_job("tumbler-wrap")
    mark = {"arc": "120 mm", "width": "20 mm", "levelled": False}
    window = {"half_depth": "1 mm", "focus": "balanced"}
    values = told(changed_setup("tumbler-wrap", mark=mark, window=window))
    assert values["focus"]["edge_mm"] == MM(10 * 6 / 170)
    assert told(tumbler)["focus"]["edge_mm"] == 0
    assert "The marked line of the cone lies level: the focus is the same along it." in lines_of(card_of(tumbler))
    # Levelled, the sag is largest on the thick edge, where r is 40 mm + 30 mm * 6/170.
    phi = 120 / told(tumbler)["segments"] / 40
    assert told(tumbler)["focus"]["below_crown_mm"] == MM((40 + 30 * 6 / 170) * (1 - math.cos(phi / 2)) / 2)


def test_on_a_tilted_axis_the_card_says_so_and_by_how_much_a_lens_that_is_not_tilted_finds_the_edge_higher() -> None:
    tilted = with_axis(load_job("shaft-scale"), tilt="10 deg")
    assert told(tilted)["focus"]["tilted_mm"] == MM(10 * math.tan(math.radians(10)))  # the mark is 20 mm wide
    assert any(line.startswith("The axis is tilted") for line in lines_of(card_of(tilted)))
    assert not any("tilted" in line for line in lines_of(card_of(load_job("shaft-scale"))))


@pytest.mark.parametrize(
    ("turns", "moves", "lies"),
    [pytest.param("clockwise", "right", "left", id="clockwise"),
     pytest.param("counter-clockwise", "left", "right", id="counter-clockwise")],
)  # fmt: skip
def test_the_next_strip_lies_on_the_side_from_which_the_surface_comes(turns: str, moves: str, lies: str) -> None:
    """The top of a clock's hand goes to the right; what comes next is still to the left."""
    card = card_of(with_axis(load_job("shaft-scale"), turns=turns))
    assert json_document(card)["turns"] == turns
    text = " ".join(lines_of(card))
    assert f"turns {turns}, for somebody at its free end who faces the drive" in text
    assert f"on top it moves to the {moves}, and the next strip lies to the {lies} of this one" in text


def test_a_direction_that_is_not_stated_is_not_made_up() -> None:
    assert told(load_job("shaft-scale"))["turns"] is None
    text = " ".join(lines_of(card_of(load_job("shaft-scale"))))
    assert "Which way the part turns is not stated" in text
    assert "clockwise" not in text


@pytest.mark.parametrize("job", JOBS)
def test_the_strips_are_the_plans_segments(job: str) -> None:
    setup, plan = shipped(job)
    values, segments = json_document(card_document(setup, plan.layout)), plan.layout.segments
    assert [strip["part_deg"] for strip in values["strips"]] == MM(segments.centres_deg().tolist())
    assert [strip["width_mm"] for strip in values["strips"]] == MM((segments.arcs() * 1e3).tolist())
    for before, after in itertools.pairwise(values["strips"]):
        assert before["to_mm"] == MM(after["from_mm"])
        turned = math.radians(after["part_deg"] - before["part_deg"])
        assert before["pitch_mm"] == MM(turned * setup.job.part.diameter.si / 2 * 1e3)


def many() -> Setup:
    return changed_setup("bottle-band", segments={"count": 5000})


@pytest.mark.parametrize(
    "make",
    [*(pytest.param(partial(load_job, job), id=job) for job in JOBS),
     pytest.param(many, id="five thousand"),
     pytest.param(lambda: with_axis(load_job("sleeve-label"), tilt="30 deg", turns="clockwise"), id="tilted")],
)  # fmt: skip
def test_a_card_fits_a_page_of_sixty_lines_of_eighty_characters(make: Callable[[], Setup]) -> None:
    lines = lines_of(card_of(make()))
    assert len(lines) <= 60
    assert max(map(len, lines)) <= 80
    assert "too wide" not in lines
    assert sum(line.lstrip()[:1].isdigit() for line in lines) <= MOST_STRIPS


def test_of_many_strips_the_first_and_the_last_stand_on_the_card_and_all_in_json() -> None:
    card = card_of(many())
    numbers = [line.split()[0] for line in lines_of(card)]
    assert numbers[-(MOST_STRIPS + 1) :] == [*map(str, range(1, 11)), "...", *map(str, range(4991, 5001))]
    assert len(json_document(card)["strips"]) == 5000


def test_strips_and_focus_are_there_in_metres_without_a_document() -> None:
    setup = load_job("shaft-scale")
    plan = plan_layout(setup).segments
    (third,) = strips(plan, 2, 3)
    assert (third.number, third.width, third.pitch) == (3, MM(0.010), MM(0.010))
    assert third.start == MM(0.020)
    assert focus_of(setup.machine, setup.job, plan) == Focus(0.0, 0.0, 0.0, MM(0.025), on_rollers=False)
