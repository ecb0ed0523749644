"""The route of the axis: targets, approach from one side, finish, travel limits, lost motion and durations."""

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.errors import PlanError
from firmware_host.planning.layout.lost_motion import lost_motion_turns
from firmware_host.planning.layout.segments import plan_segments
from firmware_host.planning.route.moves import Purpose, Route, plan_route, time_moves
from tests.planning.workshop import chuck_machine, job_on, roller_machine

WIDE = {"half_depth": "4 mm"}


def route_of(machine: Any, mark: dict[str, Any], *, diameter: str = "50 mm", **changes: Any) -> Route:
    described = job_on(diameter, mark, **({"window": WIDE} | changes))
    return plan_route(machine, described, plan_segments(described))


@settings(deadline=None, max_examples=37)
@given(
    driving=st.integers(2, 97),
    driven=st.integers(2, 97),
    microsteps=st.sampled_from([1, 2, 5, 16, 32, 256]),
    count=st.integers(1, 300),
    start=st.integers(-720, 720),
    angle=st.integers(1, 360),
    roller_um=st.integers(5_000, 60_000),
    on_rollers=st.booleans(),
)
def test_every_index_lands_within_half_a_microstep_whatever_the_ratio(
    driving: int, driven: int, microsteps: int, count: int, start: int, angle: int, roller_um: int, on_rollers: bool
) -> None:
    gearing = [{"driving_teeth": driving, "driven_teeth": driven}]
    driver = {"microsteps": microsteps}
    if on_rollers:
        machine = roller_machine(roller=f"{roller_um} um", gearing=gearing, driver=driver)
    else:
        machine = chuck_machine(gearing=gearing, driver=driver)
    mark = {"angle": f"{angle} deg", "start_angle": f"{start} deg"}
    window = {"half_depth": "24 mm", "focus": "balanced", "incidence_limit": "89 deg"}
    route = route_of(machine, mark, segments={"count": max(count, 3)}, window=window)
    per_turn = Fraction(200 * microsteps * driven, driving)
    if on_rollers:
        per_turn *= Fraction(50_000, roller_um)
    assert route.per_part_turn == per_turn
    count = max(count, 3)
    for k, target in enumerate(route.segment_targets().tolist()):
        theta = Fraction(start, 360) + k * Fraction(angle, 360 * count)
        assert abs(target - theta * per_turn) <= Fraction(1, 2)
    assert np.cumsum(route.deltas).tolist() == route.targets.tolist()
    assert route.segment[route.purpose == Purpose.INDEX].tolist() == list(range(1, count + 1))


@settings(deadline=None, max_examples=25)
@given(
    lost_arcmin=st.integers(1, 120),
    count=st.integers(3, 60),
    start=st.integers(-200, 200),
    finish=st.sampled_from(["stay", "unwind", "next-turn"]),
)
def test_a_one_side_approach_reaches_every_segment_from_below(
    lost_arcmin: int, count: int, start: int, finish: str
) -> None:
    machine = chuck_machine(gearing=[{"ratio": "3", "lost_motion": f"{lost_arcmin} arcmin"}])
    route = route_of(
        machine,
        {"angle": "120 deg", "start_angle": f"{start} deg"},
        segments={"count": count},
        index={"approach": "one-side", "finish": finish},
    )
    assert route.one_side
    lost = Fraction(lost_arcmin, 21600) * 9600
    # An independent model of play: the part follows the drive only once the play is used up, on either side.
    drive, part_at_least, part_at_most = 0, Fraction(0), lost
    for target, purpose in zip(route.targets.tolist(), route.purpose.tolist(), strict=True):
        drive = target
        part_at_least, part_at_most = max(part_at_least, drive), max(part_at_most, Fraction(drive))
        part_at_most = min(part_at_most, drive + lost)
        part_at_least = min(part_at_least, part_at_most)
        if purpose == Purpose.INDEX:
            assert part_at_least == part_at_most == drive
    take_ups = route.targets[route.purpose == Purpose.TAKE_UP]
    assert take_ups.size <= 1


def test_the_play_is_taken_up_before_the_first_mark_even_if_it_lies_a_little_ahead() -> None:
    # 1 deg of play is 26.67 microsteps; the first target lies 14 ahead: not enough to take it up from an unknown side.
    machine = chuck_machine(gearing=[{"ratio": "3", "lost_motion": "1 deg"}])
    mark = {"angle": "60 deg", "start_angle": "0.5 deg"}
    near = route_of(machine, mark, segments={"count": 3}, index={"approach": "one-side"})
    # ceil(1.5*26.67) + one full step of 16 = 56 below the first target, round(0.5*9600/360) = 13.
    assert near.targets[:2].tolist() == [13 - 56, 13]
    assert near.purpose[:2].tolist() == [Purpose.TAKE_UP, Purpose.INDEX]
    far = route_of(machine, mark | {"start_angle": "10 deg"}, segments={"count": 3}, index={"approach": "one-side"})
    assert (far.purpose == Purpose.INDEX).all()


@pytest.mark.parametrize(
    ("approach", "lost_motion", "one_side"),
    [("both-sides", "1 deg", False), ("one-side", "0 deg", True), ("auto", "1 deg", True), ("auto", "0 deg", False)],
)
def test_the_approach_is_as_asked_for_or_as_the_play_asks(approach: str, lost_motion: str, one_side: bool) -> None:
    machine = chuck_machine(gearing=[{"ratio": "3", "lost_motion": lost_motion}])
    route = route_of(machine, {"angle": "60 deg"}, segments={"count": 3}, index={"approach": approach})
    assert route.one_side is one_side
    assert (Purpose.TAKE_UP in route.purpose) is one_side


@pytest.mark.parametrize(
    ("finish", "start", "end"),
    # 3 segments of 40 deg, 3200 microsteps per turn: the last centre is at start + 80 deg.
    [
        ("stay", "0 deg", 711),
        ("unwind", "0 deg", 0),
        ("next-turn", "0 deg", 3200),
        ("next-turn", "281 deg", 6400),
        ("next-turn", "280 deg", 3200),
        ("next-turn", "-80 deg", 0),
        ("next-turn", "-90 deg", 0),
        ("next-turn", "-800 deg", -6400),
        ("unwind", "-90 deg", 0),
    ],
)
def test_the_job_ends_where_it_was_asked_to(finish: str, start: str, end: int) -> None:
    mark = {"angle": "120 deg", "start_angle": start}
    route = route_of(chuck_machine(), mark, segments={"count": 3}, index={"finish": finish})
    assert int(route.targets[-1]) == end
    assert bool(route.purpose[-1] == Purpose.FINISH) is (finish != "stay")
    if finish == "next-turn":
        assert route.deltas[-1] >= 0


def test_the_next_turn_is_no_turn_too_many_when_the_last_target_was_rounded_up() -> None:
    # 200 full steps over 3:2 are 400/3 = 133.33 microsteps per turn; two turns are 266.67, rounded up to 267. The next
    # multiple of 360 deg is right there, and not at three turns.
    machine = chuck_machine(driver={"microsteps": 1}, gearing=[{"ratio": "2/3"}])
    mark = {"angle": "30 deg", "start_angle": "700 deg"}
    route = route_of(machine, mark, segments={"count": 3}, index={"finish": "next-turn"})
    assert route.per_part_turn == Fraction(400, 3)
    assert route.targets.tolist() == [259, 263, 267, 267]
    on_two_turns = route_of(machine, mark | {"start_angle": "720 deg"}, index={"finish": "next-turn"})
    assert on_two_turns.targets.tolist() == [267, 267]


@pytest.mark.parametrize(
    ("lowest", "highest", "index", "outside"),
    # Targets 0 to 80 deg; a take-up goes 1.5 lost motions and a full step (1.8 deg) below zero.
    [
        ("0 deg", "80 deg", {}, None),
        ("0 deg", "79.9 deg", {}, r"80 deg, limit 79\.9 deg"),
        ("1 deg", "90 deg", {}, r"0 deg, limit 1 deg"),
        ("0 deg", "90 deg", {"finish": "next-turn"}, None),
        ("0 deg", "90 deg", {"approach": "one-side"}, r"-1\.8 deg, limit 0 deg"),
        ("-2 deg", "90 deg", {"approach": "one-side"}, None),
    ],
)
def test_no_target_leaves_the_travel(lowest: str, highest: str, index: dict[str, str], outside: str | None) -> None:
    machine = chuck_machine(axis={"travel": {"lowest": lowest, "highest": highest}}, driver={"microsteps": 18})
    mark = {"angle": "120 deg"}
    if outside is None:
        assert route_of(machine, mark, segments={"count": 3}, index=index).segment_targets().size == 3
        return
    with pytest.raises(PlanError, match=rf"target outside axis\.travel: {outside}\. Move mark\.start_angle"):
        route_of(machine, mark, segments={"count": 3}, index=index)


def test_lost_motion_of_each_stage_shrinks_with_the_reductions_behind_it() -> None:
    # Motor - belt 3:1 (0.3 deg at its driven shaft) - worm 60:1 (0.02 deg at the spindle): 0.3/60 + 0.02 = 0.025 deg.
    machine = chuck_machine(
        gearing=[{"ratio": "3", "lost_motion": "0.3 deg"}, {"ratio": "60", "lost_motion": "0.02 deg"}]
    )
    described = job_on("50 mm", {"angle": "90 deg"})
    assert lost_motion_turns(machine, described) * 360 == Fraction("0.025")


def test_lost_motion_before_rollers_shrinks_with_the_part() -> None:
    # 0.1 deg at the roller, part 80 mm on rollers of 25.4 mm: 0.1*25.4/80 = 0.03175 deg of the part.
    machine = roller_machine(gearing=[{"ratio": "3"}, {"ratio": "2", "lost_motion": "0.1 deg"}])
    assert lost_motion_turns(machine, job_on("80 mm", {"angle": "90 deg"})) * 360 == Fraction("0.03175")
    # Where the rollers touch a thinner place of 40 mm it is 0.0635 deg.
    thin = job_on("80 mm", {"angle": "90 deg"}, part={"contact_diameter": "40 mm"})
    assert lost_motion_turns(machine, thin) * 360 == Fraction("0.0635")


def test_no_gearing_has_no_lost_motion() -> None:
    assert lost_motion_turns(chuck_machine(), job_on("50 mm", {"angle": "90 deg"})) == 0


def test_durations_follow_from_distance_speed_and_acceleration() -> None:
    route = route_of(chuck_machine(), {"angle": "120 deg"}, segments={"count": 3}, index={"finish": "unwind"})
    program = time_moves(route, speed=1.0, acceleration=4.0)
    # 356 microsteps of 3200 are 0.6990 rad, 355 are 0.6970 rad, back 711 are 1.3960 rad; all above v^2/a = 0.25 rad:
    # t = d/v + v/a.
    distances = np.array([0, 356, 355, 711]) / 3200 * 2 * math.pi
    assert program.durations[0] == 0.0
    assert program.durations[1:] == pytest.approx(distances[1:] + 0.25)
    assert program.durations.sum() == pytest.approx(distances.sum() + 0.75)
    assert program.angles_deg() == pytest.approx(np.array([0, 356, 711, 0]) * 360 / 3200)
    slow = time_moves(route, speed=100.0, acceleration=4.0)
    # 0.6990 rad < v^2/a: a triangle, t = 2 sqrt(d/a).
    assert slow.durations[1] == pytest.approx(2 * math.sqrt(distances[1] / 4))


def test_a_million_segments_keep_exact_targets() -> None:
    machine = chuck_machine(gearing=[{"ratio": "60"}, {"driving_teeth": 17, "driven_teeth": 43}])
    route = route_of(machine, {"angle": "360 deg"}, segments={"count": 1_000_000})
    per_turn = Fraction(3200 * 60 * 43, 17)
    for k in (0, 1, 17, 499_999, 999_983, 999_999):
        assert int(route.targets[k]) == round(k * per_turn / 1_000_000)
    assert int(route.deltas.max()) - int(route.deltas.min()) <= 1


def test_rows_tell_the_purpose_of_each_move() -> None:
    machine = chuck_machine(gearing=[{"ratio": "3", "lost_motion": "1 deg"}])
    route = route_of(machine, {"angle": "90 deg"}, segments={"count": 3}, index={"finish": "unwind"})
    rows = list(time_moves(route, 1.0, 1.0).rows())
    assert [(segment, purpose.word) for segment, purpose, *_ in rows] == [
        (0, "take-up"),
        (1, "index"),
        (2, "index"),
        (3, "index"),
        (0, "finish"),
    ]
    assert [target for _, _, target, *_ in rows] == [-56, 0, 800, 1600, 0]
    assert [delta for _, _, _, delta, *_ in rows] == [-56, 56, 800, 800, -1600]
