"""What a journal amounts to: each case is a short run told by hand, event by event."""

import json
from pathlib import Path
from types import UnionType
from typing import get_args

import pytest

from firmware_host.errors import JournalError
from firmware_host.station.journal.events import (
    Assumed,
    Begin,
    End,
    Event,
    Finish,
    Finished,
    GateClosed,
    GateOpen,
    Home,
    JournalEvent,
    Move,
    PassDone,
    PositionLost,
    Release,
    Repeat,
    Resume,
    Skip,
    Standstill,
    Unwind,
    Zero,
    ZeroSet,
)
from firmware_host.station.journal.last_position import LastPosition
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import RunState, replay

BEGIN = Begin(
    setup_digest="0" * 64,
    job="job",
    machine="machine",
    port="port",
    targets=(0, 611),
    passes=2,
    overrun=50,
    marking=True,
)
ZERO = ZeroSet(origin_steps=1234, at=0, turns=0, scale_known=True)
MOVE, MOVE_2 = Move(segment=1, target=0, position=0), Move(segment=2, target=611, position=611)
STOOD = Standstill(segment=1, target=0, position=0, reported=0.004)
STOOD_2 = Standstill(segment=2, target=611, position=611, reported=612.3)
RESUME = Resume(zero=Zero.AS_LEFT)
STOPPED = End(outcome="stopped", reason="Ctrl-C")


def state_after(*events: Event) -> RunState:
    stamped = (event.model_copy(update={"line": n, "time": f"T{n}"}) for n, event in enumerate(events, 1))
    return replay(stamped)  # type: ignore[arg-type]


def told(*events: Event) -> RunRecord:
    return state_after(*events).record


def left(*events: Event) -> LastPosition:
    found = state_after(BEGIN, *events).left
    assert found is not None
    return found


def marked(segment: int, number: int) -> list[Event]:
    return [kind(segment=segment, number=number) for kind in (GateOpen, GateClosed, PassDone)]


def statuses(record: RunRecord) -> list[str]:
    return [entry.status for entry in record.passes]


# --- passes --------------------------------------------------------------------------------------------------------


def test_a_run_that_only_began_has_everything_to_do_and_is_running() -> None:
    record = told(BEGIN)
    assert (record.outcome, record.origin_steps, record.done) == ("running", None, 0)
    assert [(e.segment, e.number, e.planned_microstep) for e in record.passes] == [
        (1, 1, 0), (1, 2, 0), (2, 1, 611), (2, 2, 611)
    ]  # fmt: skip
    assert statuses(record) == ["to do"] * 4


@pytest.mark.parametrize(
    ("events", "status"),
    [([], "to do"), (marked(1, 1)[:1], "unknown"), (marked(1, 1)[:2], "unknown"), (marked(1, 1), "done")],
    ids=["before", "open", "closed", "done"],
)
def test_a_pass_is_done_only_when_that_is_said(events: list[Event], status: str) -> None:
    record = told(BEGIN, ZERO, MOVE, STOOD, *events)
    assert statuses(record)[0] == status
    assert [entry.number for entry in record.unknown] == ([1] if status == "unknown" else [])


def test_times_and_positions_are_those_of_the_pass_s_own_standstill() -> None:
    record = told(BEGIN, ZERO, STOOD, *marked(1, 1), STOOD_2, *marked(2, 1))
    first, third = record.passes[0], record.passes[2]
    assert (first.reported_microstep, first.standstill, first.gate_open, first.gate_closed) == (0.004, "T3", "T4", "T5")
    assert (third.reported_microstep, third.standstill, third.gate_open, third.gate_closed) == (612.3, "T7", "T8", "T9")
    assert record.step_errors == (0, 1)
    assert (record.started, record.ended) == ("T1", "T10")


def test_an_answer_settles_an_unknown_pass_either_way() -> None:
    begun = [BEGIN, ZERO, STOOD, *marked(1, 1)[:1], RESUME]
    not_done = Assumed(segment=1, number=1, done=False)
    assert statuses(told(*begun, Assumed(segment=1, number=1, done=True)))[0] == "done"
    assert statuses(told(*begun, not_done))[0] == "to do"
    again = told(*begun, not_done, STOOD, GateOpen(segment=1, number=1))
    assert statuses(again)[0] == "unknown"
    assert again.passes[0].gate_closed is None


def test_the_outcome_is_that_of_the_last_go() -> None:
    assert (told(BEGIN, STOPPED).outcome, told(BEGIN, STOPPED).reason) == ("stopped", "Ctrl-C")
    assert told(BEGIN, STOPPED, RESUME).outcome == "running"
    done = told(BEGIN, STOPPED, RESUME, End(outcome="done"))
    assert (done.outcome, done.reason) == ("done", "")


def test_a_pass_that_the_run_does_not_have_changes_nothing() -> None:
    assert told(BEGIN, *marked(3, 1), *marked(1, 3)).passes == told(BEGIN).passes


def test_a_record_is_one_json_document_and_whole_on_the_disk(tmp_path: Path) -> None:
    record = told(BEGIN, ZERO, STOOD, *marked(1, 1))
    record.save(tmp_path / "record.json")
    document = json.loads((tmp_path / "record.json").read_text("utf-8"))
    assert document["passes"][0]["gate_open"] == "T4"
    assert document["origin_steps"] == 1234
    assert [path.name for path in tmp_path.iterdir()] == ["record.json"]
    with pytest.raises(JournalError, match="cannot be written"):
        record.save(tmp_path / "missing" / "record.json")


# --- the last position ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("events", "lowest", "highest", "moving"),
    [
        ([], 0, 0, False),
        ([ZERO], 0, 0, False),
        ([ZERO, MOVE_2], 0, 611, True),
        ([ZERO, MOVE, STOOD, MOVE_2, STOPPED], 0, 611, False),
        ([ZERO, MOVE_2, STOOD_2], 611, 611, False),
        ([ZERO, MOVE_2, STOOD_2, MOVE], -50, 611, True),
        ([ZERO, MOVE_2, STOOD_2, RESUME, ZeroSet(origin_steps=1234, at=300, turns=0)], 300, 300, False),
        ([ZERO, MOVE_2, STOOD_2, Unwind(segment=1, target=-2989, turns=1)], -2989, 611, True),
        ([ZERO, MOVE_2, STOOD_2, Finish(target=0)], 0, 611, True),
        ([ZERO, MOVE_2, STOOD_2, Finish(target=0), Finished(target=0, reported=0.0)], 0, 0, False),
    ],
    ids=["begun", "zero", "moving", "stopped", "stood", "back", "resumed", "unwinding", "finishing", "finished"],
)
def test_the_axis_is_left_where_it_stood_or_on_the_way_of_its_move(
    events: list[Event], lowest: int, highest: int, moving: bool
) -> None:
    found = left(*events)
    assert (found.lowest, found.highest, found.moving, found.lost) == (lowest, highest, moving, "")
    assert found.origin == (1234 if events else None)
    assert (found.why_lost(stop_keeps_position=False) != "") == moving
    assert found.why_lost(stop_keeps_position=True) == ""


def test_a_segment_behind_turns_taken_back_is_left_where_the_controller_counts_it() -> None:
    turned = ZeroSet(origin_steps=1234, at=-3039, turns=1)
    there = Move(segment=2, target=611, position=-2989)
    found = left(ZERO, Unwind(segment=2, target=-3039, turns=1), turned, there)
    assert (found.turns, found.lowest, found.highest) == (1, -3039, -2989)
    stood = left(turned, there, Standstill(segment=2, target=611, position=-2989, reported=611.0))
    assert (stood.lowest, stood.highest) == (-2989, -2989)


@pytest.mark.parametrize(
    ("events", "why"),
    [
        ([Release()], "the motor was released when the run ended"),
        ([PositionLost(reason="reset")], "the controller was found reset, locked, or with its motor released"),
        ([Resume(zero=Zero.SET_ANEW)], "by hand, but the run ended before the zero was set"),
        ([End(outcome="failed", reason="a reset", position_lost=True)], "the run ended with: a reset"),
        ([Release(), End(outcome="stopped", reason="Ctrl-C", position_lost=True)], "the motor was released"),
    ],
    ids=["release", "found-reset", "zero-by-hand", "failed", "first-reason"],
)
def test_a_lost_position_says_why_until_a_zero_is_set_again(events: list[Event], why: str) -> None:
    assert why in left(ZERO, MOVE, STOOD, *events).why_lost(stop_keeps_position=True)
    assert left(ZERO, MOVE, STOOD, *events, ZERO).lost == ""


# --- the rest ------------------------------------------------------------------------------------------------------


def test_a_journal_is_closed_by_an_end_alone_and_says_whether_the_axis_stood_still() -> None:
    unsure = End(outcome="failed", reason="a lost port", stands_still=False)
    assert [state_after(BEGIN, *more).closed for more in ([], [unsure], [unsure, RESUME])] == [False, True, False]
    assert [state_after(BEGIN, *more).stands_still for more in ([], [STOPPED], [unsure, RESUME])] == [True, True, False]


def test_an_empty_journal_is_a_run_that_never_began() -> None:
    empty = replay([])
    assert (empty.lines, empty.begin, empty.closed, empty.record.passes) == (0, None, False, ())
    assert empty.left == LastPosition(None, 0, 0, 0, "", moving=False)


def test_a_repeated_pass_is_to_do_once_more_and_counts_how_often() -> None:
    again = Repeat(segment=1, number=1)
    record = told(BEGIN, ZERO, MOVE, STOOD, *marked(1, 1), again)
    assert (statuses(record), record.passes[0].repeats) == (["to do"] * 4, 1)
    record = told(BEGIN, ZERO, MOVE, STOOD, *marked(1, 1), again, *marked(1, 1))
    assert (record.done, record.passes[0].repeats) == (1, 1)


def test_what_is_left_of_a_skipped_segment_is_skipped_and_what_was_done_stays_done() -> None:
    record = told(BEGIN, ZERO, MOVE, STOOD, *marked(1, 1), Skip(segment=1))
    assert statuses(record) == ["done", "skipped", "to do", "to do"]
    assert (record.done, record.skipped) == (1, 1)
    wished_again = told(BEGIN, ZERO, MOVE, STOOD, *marked(1, 1), Repeat(segment=1, number=1), Skip(segment=1))
    assert statuses(wished_again)[0] == "done"


def test_segments_that_were_not_chosen_are_not_asked_for() -> None:
    record = told(BEGIN.model_copy(update={"only": (2,), "redo_of": "first"}))
    assert [(entry.segment, entry.planned_microstep) for entry in record.passes] == [(2, 611), (2, 611)]
    assert (record.not_asked_for, record.redo_of) == ((1,), "first")


@pytest.mark.parametrize(
    ("events", "complaint"),
    [
        ([*marked(1, 1), GateOpen(segment=1, number=1)], "pass 1, which is done; nobody wished it again"),
        ([Skip(segment=1), GateOpen(segment=1, number=1)], "segment 1, which is not to be marked"),
        ([GateOpen(segment=1, number=1), Skip(segment=1)], "a segment is skipped before its gate is closed"),
        ([Repeat(segment=1, number=1)], "pass 1 is repeated before it is done"),
        ([GateOpen(segment=1, number=1), Repeat(segment=1, number=1)], "is repeated before it is done"),
    ],
    ids=["again", "skipped", "skip-open", "repeat-undone", "repeat-open"],
)
def test_a_pass_marked_again_or_left_out_that_nobody_wished_is_disorder(events: list[Event], complaint: str) -> None:
    assert complaint in state_after(BEGIN, ZERO, MOVE, STOOD, *events).disorder
    wished = (*marked(1, 1), Repeat(segment=1, number=1), *marked(1, 1))
    assert state_after(BEGIN, ZERO, MOVE, STOOD, *wished).disorder == ""


@pytest.mark.parametrize("only", [(), (2, 1), (1, 1), (3,)], ids=["none", "backward", "twice", "beyond"])
def test_a_journal_that_begins_with_impossible_segments_is_refused(only: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="chosen are other segments"):
        Begin.model_validate({**BEGIN.model_dump(by_alias=True), "only": only})


def test_every_kind_of_event_can_be_replayed() -> None:
    events = [
        BEGIN, RESUME, Assumed(segment=1, number=1, done=True), Home(), ZERO, MOVE, STOOD,
        Unwind(segment=1, target=0, turns=1), *marked(1, 1), Repeat(segment=1, number=1),
        Skip(segment=1), Finish(target=0), Finished(target=0, reported=0.0),
        Release(), PositionLost(reason="reset"), STOPPED,
    ]  # fmt: skip
    union = get_args(JournalEvent)[0]
    assert isinstance(union, UnionType)
    assert {type(event) for event in events} == set(get_args(union))
    assert state_after(*events).lines == len(events)
