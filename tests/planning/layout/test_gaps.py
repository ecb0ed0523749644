"""Seams in the artwork's gaps, against a search through every choice of edges."""

import itertools
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.errors import PlanError
from firmware_host.model import load_job
from firmware_host.model.job.mark import ArtworkGap
from firmware_host.planning.layout.gaps import split_in_gaps
from firmware_host.planning.layout.segments import plan_segments
from tests.planning.workshop import job

MM = Fraction(1, 1000)


def gaps_at(*places: tuple[int, int]) -> list[ArtworkGap]:
    """Gaps by their middle and width, in mm."""
    return [ArtworkGap.model_validate({"at": f"{at} mm", "width": f"{width} mm"}) for at, width in places]


def fewest_by_search(places: list[tuple[int, int]], total: int, widest: int) -> int | None:
    """Fewest segments over every subset of half-millimetre edges that lie in a gap; all sizes here are whole mm."""
    halves = sorted(
        {half for at, width in places for half in range(2 * at - width, 2 * at + width + 1) if 0 < half < 2 * total}
    )
    reachable = {0}
    for count in itertools.count(1):
        if any(2 * total - edge <= 2 * widest for edge in reachable):
            return count
        further = {half for half in halves for edge in reachable if edge < half <= edge + 2 * widest}
        if further <= reachable:
            return None
        reachable |= further
    return None


gap_places = st.lists(st.tuples(st.integers(1, 40), st.integers(1, 6)), min_size=1, max_size=7)


@settings(deadline=None, max_examples=75)
@given(places=gap_places, total=st.integers(5, 42), widest=st.integers(2, 15))
def test_no_choice_of_edges_in_the_gaps_needs_fewer_segments(
    places: list[tuple[int, int]], total: int, widest: int
) -> None:
    fewest = fewest_by_search(places, total, widest)
    if fewest is None:
        with pytest.raises(PlanError, match=r"no artwork gap within reach after .* mm: next one at: .*Add a gap"):
            split_in_gaps(gaps_at(*places), total * MM, widest * MM)
        return
    edges = split_in_gaps(gaps_at(*places), total * MM, widest * MM)
    assert len(edges) - 1 == fewest
    assert edges[0] == 0
    assert edges[-1] == total * MM
    assert all(0 < later - earlier <= widest * MM for earlier, later in itertools.pairwise(edges))
    for edge in edges[1:-1]:
        assert any(abs(edge - at * MM) <= width * MM / 2 for at, width in places)


def test_an_edge_goes_into_the_middle_of_a_gap_where_that_costs_no_segment() -> None:
    edges = split_in_gaps(gaps_at((9, 2), (18, 2)), 25 * MM, 10 * MM)
    assert edges == [0, 9 * MM, 18 * MM, 25 * MM]


def test_an_edge_goes_to_the_gap_s_far_end_where_the_middle_would_cost_a_segment() -> None:
    # Middles 9 and 18 leave 11 mm to the end, more than 10: a third seam. At 10 and 19 two seams are enough.
    edges = split_in_gaps(gaps_at((9, 2), (18, 2)), 29 * MM, 10 * MM)
    assert edges == [0, 10 * MM, 19 * MM, 29 * MM]


def test_the_stretch_without_a_gap_is_named() -> None:
    with pytest.raises(PlanError, match=r"after 10\.00 mm: next one at: 30 mm, limit 20 mm") as caught:
        split_in_gaps(gaps_at((9, 2), (31, 2)), 40 * MM, 10 * MM)
    assert caught.value.value == pytest.approx(30)


def test_gaps_may_be_given_in_any_order() -> None:
    assert split_in_gaps(gaps_at((18, 2), (9, 2)), 25 * MM, 10 * MM) == [0, 9 * MM, 18 * MM, 25 * MM]


def test_a_plan_puts_every_inner_edge_of_the_shipped_label_into_a_gap() -> None:
    described = load_job("sleeve-label").job
    plan = plan_segments(described)
    assert plan.request == "seams in the artwork's gaps"
    ends = plan.arcs().cumsum()[:-1]
    spans = [(gap.at.si - gap.width.si / 2, gap.at.si + gap.width.si / 2) for gap in described.mark.gaps]
    assert all(any(low - 1e-12 <= end <= high + 1e-12 for low, high in spans) for end in ends)
    assert plan.arcs().sum() == pytest.approx(44e-3)
    assert plan.widest <= Fraction(plan.window.widest_deg / 360 * (1 + 1e-9))


@settings(deadline=None)
@given(
    places=st.lists(st.tuples(st.integers(1, 59), st.integers(1, 15)), min_size=4, max_size=10),
    focus=st.sampled_from(["crown", "balanced"]),
)
def test_a_segment_that_reaches_as_far_as_the_window_allows_is_not_refused(
    places: list[tuple[int, int]], focus: str
) -> None:
    gaps = [{"at": f"{at} mm", "width": f"{width} mm"} for at, width in places] + [{"at": "30 mm", "width": "60 mm"}]
    described = job(mark={"gaps": gaps}, segments={"seams": "in-gaps"}, window={"focus": focus})
    plan = plan_segments(described)
    # A gap that covers the whole mark allows what equal segments need: 6 in crown focus, 5 in balanced focus.
    assert plan.count == (6 if focus == "crown" else 5)
