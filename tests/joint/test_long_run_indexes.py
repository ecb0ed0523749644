"""Indexes without end in one direction: no step lost at any rest, whole turns taken back where they must be.

The whole million is `python -m tests.joint.million_indexes`.
"""

import gc
from fractions import Fraction

import pytest

from firmware_host.errors import CoordinateError, PlanError
from firmware_host.model.machine.machine import Axis
from firmware_host.planning.route.coordinates import LARGEST_STEPS, StoredScale, proved_reach
from tests.joint.long_run_bench import HELD, PER_TURN, LongRun, error_steps, off_by
from tests.joint.million_indexes import resident_mb

THREE_DECIMALS = StoredScale(Fraction("17.7775"), Fraction("17.7785"))
"""All that is known of a value that prints as 17.778: it leaves 0.0005/17.778 of every coordinate in doubt."""
HALF = Fraction(1, 2)


def all_rests(run: LongRun) -> None:
    """Go through the run: every rest is the exact step, and the motor never leaves what can be proved."""
    run.mover.prove()
    for rest in run.rests():
        assert error_steps(run, *rest) == 0, rest
        assert off_by(run, *rest) <= HALF, rest


@pytest.mark.slow
@pytest.mark.parametrize(("count", "turns_back"), [(1_480, 40), (20_000, 540)], ids=["1480", "20000"])
def test_many_indexes_with_a_scale_hardly_known_lose_no_step_and_no_memory(count: int, turns_back: int) -> None:
    """The reach is 15,600 steps to either side, less than a turn of 20,157.48: it unwinds at almost every turn."""
    run = LongRun(count, scale=THREE_DECIMALS)
    run.mover.prove()
    begun_mb = 0.0
    for segment, turns, true in run.rests():
        assert error_steps(run, segment, turns, true) == 0
        assert off_by(run, segment, turns, true) <= HALF
        if segment == 500:
            gc.collect()
            begun_mb = resident_mb()
    # count/37 turns forward; each unwinding takes at least one back, and two reaches hold less than two turns.
    assert run.mover.turns == turns_back
    assert run.unwindings == turns_back
    assert run.farthest <= proved_reach(THREE_DECIMALS)
    assert resident_mb() - begun_mb < 5


@pytest.mark.some(1)
@pytest.mark.parametrize("pitch", [Fraction(3, 7), Fraction(-3, 7)], ids=["forward", "backward"])
@pytest.mark.parametrize("overrun", [0, 96], ids=["both-sides", "one-side"])
def test_a_scale_known_exactly_goes_on_for_a_hundred_turns_between_unwindings(pitch: Fraction, overrun: int) -> None:
    run = LongRun(700, pitch=pitch, overrun=overrun)
    all_rests(run)
    # 299.6 turns; what is proved to either side of machine zero is 59 turns.
    assert proved_reach(HELD) // PER_TURN == 59
    assert run.unwindings == 3
    assert abs(run.mover.turns) <= 299 + 59
    assert run.farthest <= proved_reach(HELD) < LARGEST_STEPS


def test_a_controller_that_counts_its_steps_unwinds_as_well() -> None:
    """Its machine coordinate is a 32-bit float, too, whatever it counts."""
    run = LongRun(200, scale=THREE_DECIMALS, numbered=True, overrun=96)
    all_rests(run)
    assert run.unwindings == run.mover.turns == 5
    assert run.farthest <= proved_reach(THREE_DECIMALS)


def test_the_same_indexes_are_refused_when_turns_may_not_be_taken_back() -> None:
    run = LongRun(20_000, scale=THREE_DECIMALS, axis=Axis(unwind="never"))
    with pytest.raises(CoordinateError, match=r'too far from machine zero.*axis\.unwind = "whole-turns"'):
        run.mover.prove()
    assert run.moved == 0


def test_without_unwinding_the_controller_would_have_lost_steps() -> None:
    """The control experiment: the same board, told coordinates 20 million steps out, rests beside the intended step.

    That far out neighbouring 32-bit floats are 2.2 steps apart (0.125 of a unit).
    """
    run = LongRun(1)
    wrong = 0
    for index in range(12):
        steps = 20_000_001 + 545 * index
        coordinate = f"{float(steps / HELD.middle):.4f}"
        accepted_s = run.controller.move_to(coordinate, "60000")
        run.clock.advance_to(accepted_s + 2500.0)
        run.controller.status()
        wrong += run.steps != steps
    assert wrong >= 6


@pytest.mark.parametrize(
    ("origin", "turns"),
    # 127 turns are 2,560,000 steps, a whole number; 3.9 million are 193.5 turns, and no whole 127 turns fit there.
    [(2_600_000, 127), (-3_900_000, -193)],
    ids=["whole-steps", "broken-steps"],
)
def test_a_job_that_begins_far_from_machine_zero_unwinds_before_its_first_segment(origin: int, turns: int) -> None:
    """Earlier jobs that ended on the next turn have left the axis there; the part's zero comes round again."""
    run = LongRun(37, origin=origin, overrun=96)
    run.mover.prove()
    due = run.mover.unwinding(1)
    assert due is not None
    assert (due.turns, due.target) == (turns, round(-turns * PER_TURN) - 96)
    rests = list(run.rests())
    assert [error_steps(run, *rest) for rest in rests] == [0] * 37
    assert run.unwindings == 1
    assert run.farthest == max(abs(origin + true) for *_, true in rests) < 61_000


def test_a_zero_too_far_out_to_be_read_to_a_step_is_refused() -> None:
    """A report of 5 million steps in 32-bit floats may be off by 2 * 2^-24 of it; the third decimal hides more."""
    run = LongRun(37, origin=5_000_000)
    with pytest.raises(
        CoordinateError, match=r"cannot be read: off by up to: 0\.6079\d* steps, limit 0\.5 steps\. Home"
    ):
        run.mover.prove()
    assert run.moved == 0


def travel(lowest: str, highest: str) -> Axis:
    return Axis.model_validate({"letter": "Y", "travel": {"lowest": lowest, "highest": highest}})


def test_a_cable_wound_axis_is_unwound_within_its_travel() -> None:
    run = LongRun(37 * 9, axis=travel("-500 deg", "500 deg"))
    all_rests(run)
    # It may turn 2.78 turns one way: 1.39 to begin with, then between one and two turns back at a time.
    assert 4 <= run.unwindings <= 8
    assert run.farthest <= Fraction(500, 360) * PER_TURN


def test_a_travel_of_less_than_a_turn_refuses_what_whole_turns_do_not_bring_into_it() -> None:
    run = LongRun(37, axis=travel("-90 deg", "180 deg"))
    # 24/37 of a turn are 233.51 deg; a turn back makes -126.49 of them (to the microstep -126.48).
    with pytest.raises(PlanError, match=r"outside axis\.travel: -126\.48 deg, limit -90 deg.*no number of whole turns"):
        run.mover.prove()
    assert run.moved == 0


def test_a_job_whose_zero_is_outside_the_travel_begins_a_turn_on() -> None:
    """From 10 to 500 deg: 0 to 140 deg are reached at 360 to 500, what follows where it lies."""
    run = LongRun(37, axis=travel("10 deg", "500 deg"))
    run.mover.prove()
    rests = list(run.rests())
    assert [error_steps(run, *rest) for rest in rests] == [0] * 37
    assert [turns for _, turns, _ in rests] == [-1] * 15 + [0] * 22
    assert min(true for *_, true in rests) >= Fraction(10, 360) * PER_TURN
    assert run.farthest <= Fraction(500, 360) * PER_TURN
