"""Whole turns taken back: exact targets, everything within its span, as few unwindings as can be, shown in the plan."""

import itertools
import json
import math
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from firmware_host.errors import CoordinateError, PlanError
from firmware_host.model import load_job
from firmware_host.model.job.job import IndexRequest
from firmware_host.planning.index.unwinding_settle import unwind_settle
from firmware_host.planning.layout.segments import SegmentBlock, plan_segments
from firmware_host.planning.plan import plan_job
from firmware_host.planning.route.angles import SegmentAngles
from firmware_host.planning.route.coordinates import (
    LARGEST_STEPS,
    StoredScale,
    prove_coordinates,
    proved_reach,
    reading_error,
)
from firmware_host.planning.route.moves import Purpose, Route, extent, plan_route, time_moves
from firmware_host.planning.route.unwinding import NOT_UNWOUND, Span, TurnsBack, Unwinder
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.render.json import json_document
from tests.planning.workshop import chuck_machine, job_on, roller_machine

WIDE = {"half_depth": "4 mm"}
PER_TURN = Fraction(2_560_000, 127)
fractions = st.fractions(min_value=-50, max_value=50, max_denominator=500)
ratios = st.builds(Fraction, st.integers(200, 500_000), st.integers(1, 300))


def blocks_of(parts: list[tuple[Fraction, Fraction, int]]) -> SegmentAngles:
    return SegmentAngles(tuple(SegmentBlock(first, pitch, Fraction(1, 9), count) for first, pitch, count in parts))


many_blocks = st.lists(st.tuples(fractions, fractions, st.integers(1, 12)), min_size=1, max_size=4)


# --- exact angles ----------------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=50)
@given(parts=many_blocks, per_turn=ratios, turns=st.integers(-(10**6), 10**6), data=st.data())
def test_targets_are_the_rounded_exact_angles_whatever_turns_are_taken_back(
    parts: list[tuple[Fraction, Fraction, int]], per_turn: Fraction, turns: int, data: st.DataObject
) -> None:
    angles = blocks_of(parts)
    plain = [first + k * pitch for first, pitch, count in parts for k in range(count)]
    assert angles.count == len(plain)
    assert [angles.angle(index) for index in range(angles.count)] == plain
    wanted = [round((angle - turns) * per_turn) for angle in plain]
    assert angles.targets(per_turn, turns).tolist() == wanted
    start = data.draw(st.integers(0, angles.count))
    stop = data.draw(st.integers(start, angles.count + 3))
    assert angles.targets(per_turn, turns, start, stop).tolist() == wanted[start:stop]
    assert [angles.target(index, per_turn, turns) for index in range(angles.count)] == wanted


@pytest.mark.parametrize("index", [-1, 3])
def test_an_angle_that_is_not_there_is_not_made_up(index: int) -> None:
    with pytest.raises(IndexError, match=rf"segment index {index} is not in 0 \.\. 2"):
        blocks_of([(Fraction(0), Fraction(1, 3), 3)]).angle(index)


# --- the turns to take back ------------------------------------------------------------------------------------


def fits(angles: SegmentAngles, per_turn: Fraction, overrun: int, span: Span, index: int, turns: int) -> bool:
    target = round((angles.angle(index) - turns) * per_turn)
    return span.lowest <= target - overrun and target <= span.highest


@settings(deadline=None, max_examples=75)
@example([(Fraction(0), Fraction(-13, 11), 5)], Fraction(200, 271), 0, Fraction(0), Fraction(21, 20))  # edge at a tie
@given(
    parts=many_blocks,
    per_turn=ratios,
    overrun=st.integers(0, 60),
    lowest=st.fractions(min_value=-20, max_value=20, max_denominator=50),
    width=st.fractions(min_value=Fraction(21, 20), max_value=30, max_denominator=50),
)
def test_every_position_keeps_within_the_span_and_no_unwinding_is_needless(
    parts: list[tuple[Fraction, Fraction, int]], per_turn: Fraction, overrun: int, lowest: Fraction, width: Fraction
) -> None:
    """The span is wider than a turn and a take-up, so every target has a place in it.

    Checked by brute force: an unwinding comes only where the turns so far do not fit, and no other number of turns
    would carry farther than the one chosen.
    """
    angles = blocks_of(parts)
    least = math.floor(lowest * per_turn)
    span = Span(least, least + math.ceil(width * per_turn) + overrun + 2)
    taken = Unwinder(angles, per_turn, overrun, span).turns_back(None, goes_back=False)
    now = 0
    for start, stop, turns in taken.stretches(angles.count):
        assert all(fits(angles, per_turn, overrun, span, index, turns) for index in range(start, stop))
        if turns != now:
            assert not fits(angles, per_turn, overrun, span, start, now)
            angle = angles.angle(start)
            around = range(
                math.floor(angle - span.highest / per_turn) - 2, math.ceil(angle - span.lowest / per_turn) + 3
            )
            carried = {
                other: len(
                    list(
                        itertools.takewhile(
                            lambda index, other=other: fits(angles, per_turn, overrun, span, index, other),
                            range(start, angles.count),
                        )
                    )
                )
                for other in around
            }
            assert stop - start == max(carried.values())
        now = turns
        assert [taken.of(index) for index in range(start, stop)] == [turns] * (stop - start)


@settings(deadline=None, max_examples=25)
@given(pitch=st.fractions(min_value=Fraction(1, 50), max_value=2, max_denominator=97), backward=st.booleans())
def test_indexes_in_one_direction_use_the_whole_span_between_unwindings(pitch: Fraction, backward: bool) -> None:
    """So the number of unwindings is the travel over what fits, as near as whole turns allow."""
    count, reach = 2000, 1_194_535
    angles = blocks_of([(Fraction(0), -pitch if backward else pitch, count)])
    taken = Unwinder(angles, PER_TURN, 0, Span(-reach, reach)).turns_back(None, goes_back=False)
    unwindings = len(taken.turns) - 1
    travelled = float((count - 1) * pitch * PER_TURN)
    a_turn_and_an_index = float(PER_TURN * (1 + pitch))
    assert unwindings <= max(0, math.ceil((travelled - reach) / (2 * reach - a_turn_and_an_index)))
    assert unwindings >= max(0, math.floor((travelled - reach) / (2 * reach + a_turn_and_an_index)))
    lowest, highest = extent(bare_route(angles), taken)
    assert -reach <= lowest <= highest <= reach


def bare_route(angles: SegmentAngles, finish: Fraction | None = None) -> Route:
    nothing = np.zeros(0, dtype=np.int64)
    return Route(nothing, nothing, nothing.astype(np.int8), PER_TURN, 0, angles, finish)


@pytest.mark.parametrize(
    ("first", "span", "turns"),
    [
        (Fraction(130), Span(-1_194_535, 1_194_535), 127),  # 127 turns are 2,560,000 microsteps, a whole number
        (Fraction(193), Span(-1_194_535, 1_194_535), 193),  # no multiple of 127 fits: back to the middle
        (Fraction(60), Span(-1_194_535, 1_194_535), 60),
        (Fraction(-60), Span(-1_194_535, 1_194_535), -60),
        (Fraction(10), Span(-200_000, 200_000), 10),
        (Fraction(10), Span(100_000, 150_000), 4),  # 4 turns leave 120,945, nearest to 125,000
    ],
    ids=["whole-steps", "middle", "ahead", "behind", "near", "off-centre"],
)
def test_the_turns_taken_back_make_whole_steps_or_else_lead_to_the_middle(
    first: Fraction, span: Span, turns: int
) -> None:
    angles = blocks_of([(first, Fraction(1, 40), 2)])
    taken = Unwinder(angles, PER_TURN, 0, span).turns_back(None, goes_back=False)
    assert taken == TurnsBack((0,), (turns,))
    assert taken.unwinds


def test_what_lies_in_the_span_stays_where_it_is() -> None:
    angles = blocks_of([(Fraction(0), Fraction(1, 40), 40)])
    taken = Unwinder(angles, PER_TURN, 0, Span(0, 20_000)).turns_back(Fraction(0), goes_back=True)
    assert taken == NOT_UNWOUND
    assert not taken.unwinds


@pytest.mark.parametrize(
    ("finish", "goes_back", "turns"),
    # The axis goes from 0 to 2.9 turns in a span of -1.2 to 1.2 turns; the last stretch has 2 turns taken back.
    [(Fraction(0), True, 0), (Fraction(3), False, 2), (Fraction(4), False, 3)],
    ids=["back-to-the-beginning", "next-turn", "next-turn-outside"],
)
def test_the_end_position_is_the_beginning_or_goes_on_from_the_last_segment(
    finish: Fraction, goes_back: bool, turns: int
) -> None:
    angles = blocks_of([(Fraction(0), Fraction(1, 10), 30)])
    reach = round(Fraction(6, 5) * PER_TURN)
    taken = Unwinder(angles, PER_TURN, 0, Span(-reach, reach)).turns_back(finish, goes_back=goes_back)
    assert taken.turns == (0, 2)
    assert taken.starts == (0, 13)
    assert taken.finish == turns
    lowest, highest = extent(bare_route(angles, finish), taken)
    assert -reach <= lowest <= highest <= reach


# --- the reach of the controller's arithmetic ------------------------------------------------------------------


@settings(deadline=None, max_examples=37)
@given(
    printed=st.integers(500, 20_000_000),
    doubt=st.sampled_from([Fraction(0), Fraction(1, 2000), Fraction(1, 200_000)]),
    room=st.floats(0.01, 0.2),
    seed=st.integers(0, 2**32 - 1),
)
def test_every_target_within_the_proved_reach_is_proved(printed: int, doubt: Fraction, room: float, seed: int) -> None:
    scale = StoredScale(Fraction(printed, 1000) - doubt, Fraction(printed, 1000) + doubt)
    reach = proved_reach(scale, room=room)
    assert 0 <= reach <= LARGEST_STEPS
    within = np.random.default_rng(seed).integers(-reach, reach + 1, 200)
    prove_coordinates(np.concatenate([within, [-reach, reach]]).astype(np.int64), scale, room=room)


@pytest.mark.parametrize(
    ("scale", "reach"),
    [
        # (0.5 - 17.778*0.00005)/(7.01*2^-24): text of 4 decimals, then 7 roundings of half a unit in 24 bits.
        (StoredScale.exactly(Fraction("17.778")), 1_194_535),
        # (0.45 - 0.00089)/(0.0005/17.778)
        (StoredScale(Fraction("17.7775"), Fraction("17.7785")), 15_968),
    ],
    ids=["exact", "three-decimals"],
)
def test_the_reach_is_what_the_errors_leave(scale: StoredScale, reach: int) -> None:
    assert proved_reach(scale) == reach


def test_beyond_the_reach_some_target_fails() -> None:
    """So the reach is no idle caution: within twice of it a target is found that the arithmetic may miss."""
    scale = StoredScale.exactly(Fraction("17.778"))
    reach = proved_reach(scale)
    with pytest.raises(CoordinateError, match="beside step"):
        prove_coordinates(np.arange(reach, 2 * reach + 1, 997), scale)


@settings(deadline=None, max_examples=50)
@given(steps=st.integers(-4_000_000, 4_000_000), printed=st.integers(500, 20_000_000))
def test_a_reported_position_is_no_farther_off_than_told(steps: int, printed: int) -> None:
    # Source of the board's arithmetic: numpy's float32.
    scale = StoredScale.exactly(Fraction(printed, 1000))
    position = np.float32(steps) / np.float32(float(scale.middle))
    assert abs(float(position) * float(scale.middle) - steps) <= reading_error(steps, scale) + 1e-9


# --- how long it rings -----------------------------------------------------------------------------------------


def test_an_unwinding_is_waited_for_as_long_as_it_rings() -> None:
    """By the formula for an index of that length (`index_ringing`, tested against the driven oscillator there)."""
    setup = load_job("sleeve-label")
    plan = plan_job(setup)
    longest = float(plan.route.index_turns.max())
    same = unwind_settle(setup.machine, setup.job, plan.program, longest)
    assert same == pytest.approx(plan.settle_s, rel=0.05)
    # After fifty turns the swing of the first ramp has died down: the second one alone rings as after any long move.
    # The index's ramps cancel some of each other's swing, so that it settles sooner.
    long, longer = (unwind_settle(setup.machine, setup.job, plan.program, turns) for turns in (50, 60))
    assert long == pytest.approx(longer)
    assert same < long < 2 * same
    stated = replace(
        setup, job=setup.job.model_copy(update={"index": IndexRequest.model_validate({"settle": "0.7 s"})})
    )
    assert unwind_settle(setup.machine, stated.job, plan.program, 50) == pytest.approx(0.7)


# --- in the plan -----------------------------------------------------------------------------------------------


def wound(
    travel: tuple[str, str], *, on: Any = chuck_machine, machine: dict[str, Any] | None = None, **job: Any
) -> Route:
    described = job_on(
        "50 mm", job.pop("mark", {"angle": "360 deg"}), **({"window": WIDE, "segments": {"count": 12}} | job)
    )
    built = on(axis={"travel": {"lowest": travel[0], "highest": travel[1]}}, **(machine or {}))
    return plan_route(built, described, plan_segments(described))


@pytest.mark.parametrize("approach", ["both-sides", "one-side"])
def test_a_cable_wound_axis_takes_a_turn_back_where_its_travel_ends(approach: str) -> None:
    # Twelve segments of 30 deg on 3200 microsteps per turn; 195 deg end the travel, so 210 deg become -150.
    route = wound(("-155 deg", "195 deg"), index={"approach": approach, "finish": "next-turn"})
    angles = [0, 30, 60, 90, 120, 150, 180, -150, -120, -90, -60, -30]
    indexes = route.purpose == Purpose.INDEX
    assert route.targets[indexes].tolist() == [round(Fraction(angle * 3200, 360)) for angle in angles]
    assert route.segment_targets().tolist() == [round(Fraction(k * 3200, 12)) for k in range(12)]
    assert route.segment[indexes].tolist() == list(range(1, 13))
    unwinding = np.flatnonzero(route.purpose == Purpose.UNWIND)
    assert route.segment[unwinding + 1].tolist() == [8]
    assert route.targets[unwinding].tolist() == [round(Fraction(-150 * 3200, 360)) - route.overrun]
    assert int(route.targets[-1]) == 0  # the next turn, 360 deg, a turn taken back
    assert np.cumsum(route.deltas).tolist() == route.targets.tolist()
    if approach == "one-side":
        assert (route.deltas[indexes] > 0).all()


def test_the_program_tells_the_unwinding_and_its_duration() -> None:
    route = wound(("-155 deg", "195 deg"), index={"approach": "one-side"})
    program = time_moves(route, speed=math.radians(90), acceleration=math.radians(360))
    rows = json.loads(json.dumps(json_document(moves_document(program))))["moves"]
    back = rows[7]
    assert [row["segment"] for row in rows] == list(range(1, 13))
    assert back["via_microstep"] == -1333 - route.overrun
    assert back["delta_microsteps"] == -1333 - 1600
    # 330 deg and the overrun at 90 deg/s and 360 deg/s^2, then the overrun as a triangle: d/v + v/a + 2 sqrt(d/a).
    overrun = route.overrun * 360 / 3200
    far = (1600 + 1333) * 360 / 3200 + overrun
    assert back["duration_s"] == pytest.approx(far / 90 + 90 / 360 + 2 * math.sqrt(overrun / 360))
    assert sum(row["duration_s"] for row in rows) == pytest.approx(program.durations.sum())
    assert back["angle_deg"] == pytest.approx(-1333 * 360 / 3200)


def test_turns_of_broken_microsteps_are_taken_back_exactly() -> None:
    # A part of 50 mm on a roller of 25.4 mm: 6400*500/254 = 12598.43 microsteps per turn.
    route = wound(("-200 deg", "200 deg"), on=roller_machine, mark={"angle": "360 deg", "start_angle": "3600 deg"})
    per_turn = Fraction(6400 * 500, 254)
    assert route.per_part_turn == per_turn
    angles = [Fraction(k, 12) - (0 if k <= 6 else 1) for k in range(12)]
    assert route.targets[route.purpose == Purpose.INDEX].tolist() == [round(angle * per_turn) for angle in angles]


def test_a_start_far_out_is_taken_back_before_the_first_segment_where_the_travel_is_endless() -> None:
    described = job_on("50 mm", {"angle": "90 deg", "start_angle": "720000 deg"}, window=WIDE, segments={"count": 3})
    route = plan_route(chuck_machine(), described, plan_segments(described))
    assert route.purpose.tolist() == [Purpose.UNWIND, *[Purpose.INDEX] * 3]
    assert route.targets.tolist() == [0, 0, 267, 533]
    assert route.segment_targets().tolist() == [6_400_000, 6_400_267, 6_400_533]


@pytest.mark.parametrize(
    ("travel", "outside"),
    [
        # What does not fit comes as near to the middle, 100 or 65 deg, as whole turns bring it.
        (("0 deg", "200 deg"), r"-60 deg, limit 0 deg"),
        (("-100 deg", "230 deg"), r"240 deg, limit 230 deg"),
    ],
    ids=["little-more-than-half", "not-quite-a-turn"],
)
def test_a_travel_of_less_than_a_turn_refuses_what_it_does_not_reach(travel: tuple[str, str], outside: str) -> None:
    with pytest.raises(PlanError, match=rf"outside axis\.travel: {outside}.*no number of whole turns brings it into"):
        wound(travel, machine={"driver": {"microsteps": 18}})
