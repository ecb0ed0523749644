"""A long move cut into pieces: the same way, the same time, and little of it waiting in the controller at any time."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.errors import CoordinateError
from firmware_host.planning.route import pieces as cutting
from firmware_host.planning.route.coordinates import Coordinates, StoredScale, prove_coordinates
from firmware_host.planning.route.pieces import LEAD_S, MOST_QUEUED, Ramp, cut_move, prove_pieces, ramp_in_steps
from firmware_host.planning.route.velocity import plan_index
from firmware_host.planning.steps import Steps
from tests.planning.route.joined_pieces import joined

RAMPS = st.builds(
    lambda speed, slowing_s: Ramp(speed, speed / slowing_s),
    st.floats(20, 40_000),
    st.floats(0.005, 3.0),
)


@given(lasts_s=st.floats(0.0, 20.0), ramp=RAMPS, shortest=st.sampled_from([1, 6]))
def test_pieces_join_to_the_one_move_with_its_time_and_its_speed(lasts_s: float, ramp: Ramp, shortest: int) -> None:
    """A planner of this test's own, which never changes the piece that it has begun, is the outside source."""
    steps = round(lasts_s * ramp.speed)
    pieces = cut_move(steps, ramp, shortest)
    assert pieces.ends[-1] == steps
    assert (np.diff(pieces.ends, prepend=0) >= min(shortest, steps)).all()
    assert (np.diff(pieces.due_s) >= 0).all()
    assert (pieces.due_s <= pieces.latest_s).all()
    alone_s = float(plan_index(float(steps), ramp.acceleration, ramp.speed).duration)
    made = joined(pieces, ramp, at_once_s=LEAD_S)
    assert made.duration_s == pytest.approx(alone_s, rel=1e-6, abs=1e-9)
    assert made.most_waiting <= MOST_QUEUED
    assert made.longest_stop_s <= pieces.stopping_s


@pytest.mark.parametrize("slowing_s", [0.05, 0.2, 0.5, 0.6])
@pytest.mark.parametrize("speed", [200.0, 2000.0, 15_000.0])
def test_a_stop_stands_within_a_second_where_the_ramp_allows_it(speed: float, slowing_s: float) -> None:
    pieces = cut_move(round(34 * speed), Ramp(speed, speed / slowing_s))
    assert pieces.stopping_s <= 1.0
    assert len(pieces.ends) > 34


def test_where_the_ramp_alone_takes_longer_the_stopping_time_says_so() -> None:
    """From 5000 steps/s at 2500 steps/s^2 the ramp takes 2 s by hand: no stop that keeps its steps is quicker."""
    assert 2.0 < cut_move(50_000, Ramp(5000, 2500)).stopping_s < 3.0


def test_a_move_that_is_over_soon_stays_whole() -> None:
    """400 steps at 1000 steps/s and 4000 steps/s^2: d/v + v/a = 0.65 s."""
    pieces = cut_move(400, Ramp(1000, 4000))
    assert pieces.ends.tolist() == [400]
    assert pieces.stopping_s == pytest.approx(0.65 + 0.1)


def test_a_move_of_nothing_is_one_piece() -> None:
    assert cut_move(0, Ramp(1000, 4000)).ends.tolist() == [0]


def test_pieces_are_no_shorter_than_the_shortest_move() -> None:
    """Nine steps a second: a fifth of a second is less than two steps, and the board makes none below six."""
    assert np.diff(cut_move(300, Ramp(9, 100), 6).ends, prepend=0).min() >= 6
    assert np.diff(cut_move(300, Ramp(9, 100), 1).ends, prepend=0).min() == 1


@pytest.mark.parametrize("start", [0, 48_000, -300], ids=["from-zero", "far-out", "behind-zero"])
@pytest.mark.parametrize("way", [96_000, -96_000], ids=["forwards", "backwards"])
def test_every_piece_is_sent_as_a_coordinate_of_its_own_whole_step(start: int, way: int) -> None:
    scale = StoredScale.exactly(Fraction("26.667"))
    pieces = cut_move(abs(way), ramp_in_steps(6000.0, 200.0, scale.middle))
    sent = prove_pieces(start, start + way, pieces, scale)
    sign = 1 if way > 0 else -1
    steps = [round(Fraction(piece.coordinate) * scale.middle) for piece in sent]
    assert steps == (start + sign * pieces.ends).tolist()
    for piece, step in zip(sent, steps, strict=True):
        assert abs(Fraction(piece.coordinate) * scale.middle - step) < Fraction(1, 20)


def test_an_end_that_cannot_be_proved_gives_way_and_the_target_never_does(monkeypatch: pytest.MonkeyPatch) -> None:
    scale = StoredScale.exactly(Fraction(100))
    pieces = cut_move(20_000, Ramp(5000, 20_000))
    near, nowhere = int(pieces.ends[3]), int(pieces.ends[7])

    def prove(targets: Steps, scale: StoredScale, *, room: float = 0.05) -> Coordinates:
        unproved = {near, *range(nowhere - 2, nowhere + 3)}.intersection(targets.tolist())
        if unproved:
            raise CoordinateError("beside its step", float(min(unproved)), "steps", 0.45, "none")
        return prove_coordinates(targets, scale, room=room)

    monkeypatch.setattr(cutting, "prove_coordinates", prove)
    steps = [round(float(piece.coordinate) * 100) for piece in prove_pieces(0, 20_000, pieces, scale)]
    wanted = pieces.ends.tolist()
    wanted[3] += 1
    del wanted[7]
    assert steps == wanted
    with pytest.raises(CoordinateError, match="beside its step"):
        prove_pieces(0, near, cut_move(near, Ramp(50_000, 1e6)), scale)
