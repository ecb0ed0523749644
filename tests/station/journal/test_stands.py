"""Each standstill of a run by its journal: runs told by hand, event by event, with a clock that is read off them."""

from __future__ import annotations

from firmware_host.station.journal.events import (
    Begin,
    End,
    Event,
    Finish,
    GateClosed,
    GateOpen,
    Home,
    Move,
    Resume,
    Standstill,
    Unwind,
    Zero,
    ZeroSet,
)
from firmware_host.station.journal.replay import RunState, replay
from firmware_host.station.journal.stands import Opening, Session

BEGIN = Begin(
    setup_digest="0" * 64,
    job="job",
    machine="machine",
    port="port",
    targets=(0, 611),
    passes=2,
    overrun=0,
    marking=True,
)
ZERO = ZeroSet(origin_steps=1234, at=-20, turns=0)


def moved(segment: int, target: int, position: int | None = None) -> Move:
    return Move(segment=segment, target=target, position=target if position is None else position)


def stood(segment: int, target: int, position: int | None = None, reported: float | None = None) -> Standstill:
    return Standstill(
        segment=segment,
        target=target,
        position=target if position is None else position,
        reported=target if reported is None else reported,
    )


def opened(segment: int, number: int) -> GateOpen:
    return GateOpen(segment=segment, number=number)


def closed(segment: int, number: int) -> GateClosed:
    return GateClosed(segment=segment, number=number)


def after(*timed: tuple[float, Event]) -> RunState:
    return replay(
        event.model_copy(update={"line": n, "time": f"T{n}", "clock_s": clock_s})  # type: ignore[misc]
        for n, (clock_s, event) in enumerate(timed, 1)
    )


def test_a_standstill_knows_where_it_came_from_when_it_set_off_and_when_the_gate_was_open() -> None:
    state = after(
        (10.0, BEGIN),
        (11.0, ZERO),
        (12.0, moved(1, 0)),
        (12.5, stood(1, 0, reported=0.25)),
        (12.75, opened(1, 1)),
        (15.75, closed(1, 1)),
        (16.0, opened(1, 2)),
        (19.0, closed(1, 2)),
        (20.0, moved(2, 611)),
        (22.0, stood(2, 611)),
        (22.5, opened(2, 1)),
    )
    first, second = state.stands
    assert (first.segment, first.target, first.reported, first.start, first.position) == (1, 0, 0.25, -20, 0)
    assert (first.set_off_s, first.stood_s, first.followed) == (12.0, 12.5, False)
    assert first.openings == (Opening(1, 12.75, 15.75), Opening(2, 16.0, 19.0))
    assert first.index_s == 0.75
    assert (second.start, second.position, second.followed) == (0, 611, True)
    assert second.openings == (Opening(1, 22.5, None),), "nobody knows when it closed"
    assert state.sessions == (Session("T1", 10.0, 22.5),)


def test_a_move_that_was_stopped_is_no_standstill_and_a_resumed_run_comes_from_its_new_zero() -> None:
    state = after(
        (10.0, BEGIN),
        (11.0, ZERO),
        (12.0, moved(1, 0)),
        (13.0, stood(1, 0)),
        (14.0, moved(2, 611)),
        (14.5, End(outcome="stopped")),
        (2.0, Resume(zero=Zero.AS_LEFT)),
        (3.0, ZeroSet(origin_steps=1234, at=300, turns=0)),
        (4.0, moved(2, 611)),
        (5.0, stood(2, 611)),
    )
    first, second = state.stands
    assert (first.session, second.session) == (0, 1)
    assert (second.start, second.set_off_s, second.followed) == (300, 4.0, False)
    assert second.index_s is None, "its gate never opened"
    assert state.sessions == (Session("T1", 10.0, 14.5), Session("T7", 2.0, 5.0))


def test_turns_taken_back_homing_and_the_way_to_the_end_are_no_part_of_an_index() -> None:
    state = after(
        (10.0, BEGIN),
        (10.5, Home()),
        (11.0, ZERO),
        (12.0, moved(1, 0)),
        (13.0, stood(1, 0)),
        (14.0, Unwind(segment=2, target=-3600, turns=1)),
        (18.0, ZeroSet(origin_steps=1234, at=-3600, turns=1)),
        (18.5, moved(2, 611, position=-2989)),
        (19.0, stood(2, 611, position=-2989)),
        (20.0, Finish(target=0)),
        (21.0, moved(1, 0)),
        (22.0, stood(1, 0)),
    )
    _, second, third = state.stands
    assert (second.start, second.position, second.set_off_s, second.followed) == (-3600, -2989, 18.5, False)
    assert (third.start, third.followed) == (None, False), "on the way it may be anywhere"


def test_a_gate_that_opens_or_closes_out_of_order_belongs_to_no_standstill() -> None:
    state = after(
        (10.0, BEGIN),
        (11.0, opened(1, 1)),
        (12.0, closed(1, 1)),
        (13.0, stood(1, 0)),
        (14.0, closed(1, 1)),
        (15.0, moved(2, 611)),
        (16.0, opened(2, 1)),
    )
    (only,) = state.stands
    assert (only.start, only.set_off_s, only.openings) == (None, None, ())
