"""The buttons: what each does, when it is refused, and that no press is taken for another one."""

from __future__ import annotations

import pytest

from firmware_host.page.buttons import BUTTONS, press, why_not
from firmware_host.page.desk import STALE_S, Over
from firmware_host.station.operator import Choice, Question
from firmware_host.station.progress import RunState
from tests.page.served import MARKED, TestDesk


@pytest.fixture
def desk() -> TestDesk:
    return TestDesk()


def test_done_is_the_answer_to_the_pass_that_is_marked_and_counts_once(desk: TestDesk) -> None:
    number = desk.marks()
    assert press("answer", desk, number=number) == ""
    assert press("answer", desk, number=number) == "it is answered already"
    assert desk.take_answer() == ""
    assert desk.take_answer() is None


def test_a_press_for_the_pass_before_never_ends_the_next_one(desk: TestDesk) -> None:
    before = desk.marks()
    desk.turns()
    now = desk.marks()
    assert now != before
    assert press("answer", desk, number=before) == "that is not asked any more"
    assert desk.take_answer() is None
    assert press("answer", desk, number=now) == ""


def test_an_answer_that_was_not_taken_before_the_gate_closed_is_gone(desk: TestDesk) -> None:
    assert press("answer", desk, number=desk.marks()) == ""
    desk.turns()
    desk.marks()
    assert desk.take_answer() is None


def test_done_is_refused_while_the_axis_turns_and_where_the_marking_side_says_it(desk: TestDesk) -> None:
    number = desk.marks()
    desk.turns()
    assert press("answer", desk, number=number) == "the axis turns"
    desk.publisher.tell(RunState("marking", still=True, gate_open=True, segment=1, segments=3))
    assert press("answer", desk, number=number) == "the marking side says when it is done"
    desk.publisher.tell(RunState("settling", still=True, segment=1, segments=3))
    assert press("answer", desk, number=number) == "the gate is closed"


def test_only_what_is_offered_is_an_answer(desk: TestDesk) -> None:
    number = desk.marks()
    assert press("answer", desk, number=number, line="scrap") == "that is no answer to it"
    desk.asks(Question("Which part?", (Choice("x", "Leave it out"),), "its diameter"))
    assert desk.asked is not None
    number = desk.asked.number
    for line in ("", "a" * 101, "50\n", "\x1b[2J"):
        assert press("answer", desk, number=number, line=line) == "that is no answer to it"
    assert press("answer", desk, number=number, line="50.12 mm") == ""
    assert desk.take_answer() == "50.12 mm"


def test_hold_and_carry_on_are_the_wishes_of_the_keys(desk: TestDesk) -> None:
    desk.marks()
    assert press("carry-on", desk, number=0) == "it does not hold"
    assert press("hold", desk) == ""
    assert desk.control.holds
    assert press("hold", desk) == "it will hold, or holds already"
    assert press("carry-on", desk, number=desk.control.hold_number) == ""
    assert not desk.control.holds


def test_carrying_on_from_a_hold_that_is_over_does_not_end_the_next_one(desk: TestDesk) -> None:
    desk.marks()
    press("hold", desk)
    first = desk.control.hold_number
    desk.control.carry_on()
    desk.control.hold()
    assert press("carry-on", desk, number=first) == "that hold is over"
    assert desk.control.holds


@pytest.mark.parametrize("phase", ["preparing", "turning", "settling", "marking", "held", "between", "done"])
def test_stop_can_be_pressed_at_any_time_and_once(desk: TestDesk, phase: str) -> None:
    desk.publisher.tell(RunState(phase))  # type: ignore[arg-type]
    assert press("stop", desk) == ""
    assert desk.control.stop.reason == "at the station page"
    assert press("stop", desk) == "it is being stopped"


def test_while_the_run_does_not_answer_only_hold_and_stop_are_taken(desk: TestDesk) -> None:
    number = desk.marks()
    desk.works()
    desk.hangs(STALE_S + 0.01)
    assert press("answer", desk, number=number).startswith("the run does not answer")
    desk.control.hold()
    assert press("carry-on", desk, number=1).startswith("the run does not answer")
    desk.control.carry_on()
    assert press("hold", desk) == ""
    assert press("stop", desk) == ""


def test_when_the_run_is_over_nothing_can_be_pressed(desk: TestDesk) -> None:
    desk.asks(MARKED)
    desk.over = Over("stopped", "stopped")
    for button in BUTTONS:
        assert why_not(button, desk, desk.newest()) == "the run is over"
        assert press(button, desk, number=1) == "the run is over"
    assert desk.control.stop.reason is None
