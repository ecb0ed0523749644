"""Moves that a controller would leave out because they are too short: the axis goes past and comes back."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.planning.layout.segments import plan_segments
from firmware_host.planning.route.moves import Purpose, Route, plan_route
from tests.planning.workshop import chuck_machine, job_on

MICROSTEP_DEG = 360 / 3200


def route_of(
    shortest: int,
    *,
    count: int,
    width: int,
    start: int = 0,
    approach: str = "both-sides",
    finish: str = "stay",
    **axis: Any,
) -> Route:
    """`count` segments of `width` microsteps each, of 3200 a turn, the first at `start` microsteps."""
    machine = chuck_machine(axis=axis, link={"stated": {"shortest_move": shortest}})
    mark = {"angle": f"{count * width * MICROSTEP_DEG} deg", "start_angle": f"{start * MICROSTEP_DEG} deg"}
    segments, index = {"count": count}, {"approach": approach, "finish": finish}
    described = job_on("50 mm", mark, window={"half_depth": "9 mm"}, segments=segments, index=index)
    return plan_route(machine, described, plan_segments(described))


@settings(deadline=None, max_examples=25)
@given(
    count=st.integers(3, 40),
    width=st.integers(1, 30),
    start=st.integers(-40, 40),
    shortest=st.sampled_from([2, 6, 17]),
    approach=st.sampled_from(["one-side", "both-sides"]),
    finish=st.sampled_from(["stay", "unwind", "next-turn"]),
)
def test_no_move_is_too_short_and_every_segment_stays_where_it_was(
    count: int, width: int, start: int, shortest: int, approach: str, finish: str
) -> None:
    plain, route = (
        route_of(least, count=count, width=width, start=start, approach=approach, finish=finish)
        for least in (1, shortest)
    )
    moved = np.abs(route.deltas[route.deltas != 0])
    assert moved.size == 0 or moved.min() >= shortest
    for purpose in (Purpose.INDEX, Purpose.FINISH):
        assert route.targets[route.purpose == purpose].tolist() == plain.targets[plain.purpose == purpose].tolist()
    assert route.segment[route.purpose == Purpose.INDEX].tolist() == list(range(1, count + 1))
    assert route.targets.min() >= plain.targets.min() - route.below
    if approach == "one-side":
        assert (route.deltas[route.purpose == Purpose.INDEX] >= 0).all(), "still approached from below"


def test_an_index_of_three_microsteps_goes_eleven_back_and_comes_from_there() -> None:
    """By hand: 2 * 6 - 1 = 11, so from 3 to 6 it goes to -5 (8 back) and comes 11 on."""
    route = route_of(6, count=3, width=3)
    assert route.targets.tolist() == [0, -8, 3, -5, 6]
    assert route.too_short == 2
    assert [Purpose(each).word for each in route.purpose] == ["index", "take-up", "index", "take-up", "index"]


def test_where_every_move_is_long_enough_nothing_changes() -> None:
    assert route_of(6, count=5, width=6).targets.tolist() == [0, 6, 12, 18, 24]
    assert route_of(6, count=5, width=6).too_short == 0
    assert route_of(1, count=5, width=1).targets.tolist() == [0, 1, 2, 3, 4]


def test_where_the_travel_ends_below_a_detour_goes_above() -> None:
    route = route_of(6, count=3, width=3, travel={"lowest": "0 deg", "highest": "720 deg"})
    assert route.targets.tolist() == [0, 14, 3, 17, 6]


@settings(deadline=None, max_examples=50)
@given(
    start=st.integers(-60, 60),
    shortest=st.sampled_from([1, 2, 6, 17]),
    overrun=st.booleans(),
    taken_up=st.booleans(),
    floor=st.sampled_from([None, 0]),
)
def test_the_way_from_anywhere_is_made_of_moves_that_are_made(
    start: int, shortest: int, overrun: bool, taken_up: bool, floor: int | None
) -> None:
    """As a resumed run, a jog or a repeated pass goes: from wherever it stands."""
    route = route_of(1, count=3, width=100, approach="one-side" if overrun else "both-sides").made_with(shortest, floor)
    places = (start, *route.way(0, start, taken_up=taken_up))
    deltas = np.diff(places)
    assert places[-1] == 0
    assert ((deltas == 0) | (np.abs(deltas) >= shortest)).all()
    if overrun and not taken_up:
        assert deltas[-1] >= 16, "the lost motion is taken up all the same"
    if floor is not None and not overrun:
        assert min(places[1:]) >= floor
    straight = np.diff((start, *route.straight(0, start)))
    assert ((straight == 0) | (np.abs(straight) >= shortest)).all()


@pytest.mark.parametrize("shortest", [1, 6])
def test_the_places_that_a_way_may_lead_by_are_all_told(shortest: int) -> None:
    for approach in ("one-side", "both-sides"):
        route = route_of(shortest, count=3, width=100, approach=approach)
        told = {int(place) for places in route.led_from(np.array([50])) for place in places}
        used = {place for start in range(-60, 160) for place in route.way(50, start)[:-1]}
        assert used == told if shortest > 1 or route.overrun else used == set()
