"""What is learned of two real boards, from their recorded answers."""

from __future__ import annotations

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.learned import Beyond, Fact, Learned, Listing, Position, Source
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.port.trace import MemoryTrace
from tests.support.recorded_board import RecordedBoard

A, B = "numbered_line_a", "numbered_line_b"


def opened(name: str, *, counted: int = 0) -> tuple[RecordedBoard, Controller]:
    clock = VirtualClock()
    board = RecordedBoard(clock, name, counted=counted)
    board.say(b"start")
    return board, connect(board, NumberedLineDialect(), clock, MemoryTrace(clock), axis="X")


def learned(name: str) -> Learned:
    return opened(name)[1].learned


@pytest.mark.parametrize("name", [A, B])
def test_everything_that_a_board_says_while_it_is_opened_is_understood(name: str) -> None:
    assert opened(name)[1].strays == ()


def test_words_behind_a_greeting_are_for_a_person_whatever_they_are() -> None:
    clock = VirtualClock()
    board = RecordedBoard(clock, B)
    board.say(b"start", b"NAME 9.9", b"echo: Compiled: Jan 1 2000")
    controller = connect(board, NumberedLineDialect(), clock, MemoryTrace(clock), axis="X")
    assert controller.strays == ()
    assert controller.messages == ("NAME 9.9", "Compiled: Jan 1 2000")


@pytest.mark.parametrize("name", [A, B])
def test_opening_moves_sets_and_stores_nothing(name: str) -> None:
    board, _ = opened(name)
    words = {line.partition(b" ")[2].partition(b"*")[0] for line in board.written}
    harmless = {b"M110 N0", b"M114", b"M114 S1", b"M115", b"M400", b"M503", b"M205", b"M211"}
    assert words <= harmless


def test_how_each_answers_is_seen() -> None:
    said = {name: learned(name) for name in (A, B)}
    assert said[A].acknowledgement.value == "repeats it, answers with its number, then prints"
    assert said[B].acknowledgement.value == "prints, then answers"
    assert said[A].position_asked.value == "a question that adds a line of steps"
    assert said[B].position_asked.value == "a plain question"
    assert {each.acknowledgement.source for each in said.values()} == {Source.SEEN}
    assert {each.position for each in said.values()} == {Fact(Position.PLANNED, Source.DIALECT)}
    assert (said[A].axes.value, said[B].axes.value) == ("XYZ", "XYZ")


def test_the_one_lists_what_is_stored_and_obeys_the_travel_acceleration() -> None:
    said = learned(A)
    assert said.listing == Fact(Listing.STORED, Source.SEEN)
    assert said.rate_listed_per_s == Fact(True, Source.TOLD)
    assert said.rate_written_per_s == Fact(False, Source.DIALECT)
    assert said.acceleration_key.value == "M202 X"
    assert said.whole_accelerations.value is False
    assert (said.start_jump_units_per_s.value, said.start_jump_key.value) == (12.5, "M207 X")
    assert (said.first_step_wait_s.value, said.shortest_move_steps.value) == (0.0, 1)
    assert said.travel_units == Fact((0.0, 418.0), Source.TOLD)
    assert said.beyond_travel.value is Beyond.REFUSED_SILENTLY
    assert said.quick_stop.value is False


def test_the_other_lists_what_is_in_force_and_drops_moves_that_are_too_short() -> None:
    said = learned(B)
    assert said.listing == Fact(Listing.IN_FORCE, Source.SEEN)
    assert said.rate_written_per_s == said.rate_listed_per_s == Fact(True, Source.TOLD)
    assert said.acceleration_key.value == "M201 X"
    assert said.whole_accelerations.value is True
    assert (said.start_jump_units_per_s.value, said.start_jump_key.value) == (0.0, None)
    assert said.first_step_wait_s.value == pytest.approx(1 / 120)
    assert said.shortest_move_steps.value == 6
    assert said.beyond_travel.value is Beyond.CLIPPED
    assert said.quick_stop.value is True


def test_its_travel_counts_only_once_it_was_homed() -> None:
    assert learned(B).travel_units == Fact(None, Source.TOLD, "once homed 0 to 200")


def test_a_board_that_was_not_reset_may_have_been_homed_by_somebody_else() -> None:
    clock = VirtualClock()
    board = RecordedBoard(clock, B, counted=17)
    controller = connect(board, NumberedLineDialect(), clock, MemoryTrace(clock), axis="X")
    assert controller.learned.travel_units == Fact((0.0, 200.0), Source.TOLD)


@pytest.mark.parametrize("name", [A, B])
def test_how_long_an_answer_takes_is_measured(name: str) -> None:
    answer = learned(name).answer_s
    assert answer.source is Source.SEEN
    assert answer.value == pytest.approx(0.004, abs=0.002)
