"""What the page says: STILL only of what is proved and was seen just now, and never of a run that hangs."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any, get_args

import pytest

from firmware_host.page.desk import STALE_S, Over
from firmware_host.page.view import view, view_line
from firmware_host.station.progress import Phase, RunState
from firmware_host.station.state.publisher import FRESH_S
from tests.page.served import MARKING, TURNING, TestDesk
from tests.reporting.shown import shipped


@pytest.fixture
def desk() -> TestDesk:
    return TestDesk()


def word(desk: TestDesk) -> Any:
    return view(desk)["word"]


@pytest.mark.parametrize("phase", get_args(Phase))
@pytest.mark.parametrize("still", [True, False])
def test_still_is_the_states_own_still_and_turning_its_phase(desk: TestDesk, phase: Phase, still: bool) -> None:
    desk.publisher.tell(RunState(phase, still=still, segment=1, segments=3, number=1, passes=1, of=3))
    assert word(desk) == ("STILL" if still else "TURNING" if phase == "turning" else "MAY BE MOVING")
    assert view(desk)["doing"].endswith(".")


def test_a_standstill_that_nobody_has_looked_at_for_half_a_second_is_none(desk: TestDesk) -> None:
    desk.publisher.tell(MARKING)
    desk.works()
    desk.clock.sleep(FRESH_S - 0.01)
    assert word(desk) == "STILL"
    desk.control.stop.looks += 1  # it works, and waits for an answer of the board
    desk.hangs(0.02)
    assert word(desk) == "MAY BE MOVING"


def test_a_run_that_hangs_is_stale_within_a_second_though_the_server_lives(desk: TestDesk) -> None:
    desk.publisher.tell(MARKING)
    desk.works()
    desk.hangs(STALE_S + 0.01)
    assert STALE_S + 0.2 < 1  # two looks and a state on their way to the page
    shown = view(desk)
    assert shown["word"] == "STALE"
    assert "may be moving" in shown["doing"]
    assert shown["why_not"]["answer"] != ""
    assert shown["why_not"]["stop"] == ""
    desk.works()
    assert word(desk) == "STILL"


def test_before_the_controller_is_open_nothing_is_known(desk: TestDesk) -> None:
    desk.attach(None)  # type: ignore[arg-type]
    assert word(desk) == "MAY BE MOVING"


def test_it_says_where_it_is_what_follows_and_how_long_it_takes(desk: TestDesk) -> None:
    marking = RunState("marking", still=True, gate_open=True, segment=4, segments=6, number=1, passes=2, done=6, of=12)
    desk.publisher.tell(replace(marking, left_s=83.2, part=2, parts=3, serial="A-7", following=(4, 2)))
    shown = view(desk)
    assert shown["where"] == "Part 2 of 3 (serial A-7), segment 4 of 6, pass 1 of 2"
    assert shown["doing"] == "THE GATE IS OPEN: mark segment 4, pass 1."
    assert shown["following"] == "Then segment 4, pass 2"
    assert (shown["done"], shown["of"], shown["left_s"]) == (6, 12, 83.2)
    desk.publisher.tell(RunState("turning", segment=6, segments=6, number=2, passes=2, done=12, of=12, part=2, parts=3))
    assert view(desk)["doing"] == "To the end position. The gate is closed."
    assert view(desk)["following"] == "Then part 3 of 3"
    desk.publisher.tell(RunState("turning", segment=6, segments=6, number=2, passes=2, done=11, of=12))
    assert view(desk)["following"] == "Then it is done"


def test_a_wish_is_said_until_it_is_fulfilled(desk: TestDesk) -> None:
    desk.publisher.tell(TURNING)
    desk.control.hold()
    assert view(desk)["doing"].endswith("It holds after this pass.")
    desk.publisher.tell(RunState("held", still=True, segment=2, segments=6))
    assert view(desk)["doing"] == "It holds. The gate is closed, the motor holds the part."
    desk.control.stop_now()
    assert view(desk)["doing"] == "It is being stopped."


@pytest.mark.parametrize(("outcome", "said"), [("done", "DONE"), ("stopped", "STOPPED"), ("failed", "FAILED")])
def test_after_the_end_it_says_how_what_next_and_that_nobody_watches(desk: TestDesk, outcome: str, said: str) -> None:
    desk.publisher.tell(MARKING)
    desk.over = Over(outcome, "that is why", ("Resume with: circumstep resume runs/one",))
    desk.hangs(60.0)
    shown = view(desk)
    assert shown["word"] == said
    assert "nobody watches the axis" in shown["doing"]
    assert shown["over"] == {"text": "that is why", "todo": ("Resume with: circumstep resume runs/one",)}


def test_a_line_is_one_line_and_tells_the_parts_shape_once(desk: TestDesk) -> None:
    _, plan = shipped("shaft-scale")
    desk.works()
    assert "shape" not in json.loads(view_line(desk, seen=0, at_s=1.5)[0])
    desk.begins(plan, {1: (0, 2), 2: (0, 2)})
    desk.tell("line\nand \u2028 another")
    line, seen = view_line(desk, seen=0, at_s=1.5)
    assert line.isascii()
    assert "\n" not in line
    told = json.loads(line)
    assert told["at_ms"] == 1500
    assert told["shape"]["number"] == seen == 1
    line, seen = view_line(desk, seen=1, at_s=1.5)
    assert "shape" not in json.loads(line)
    assert seen == 1
    desk.begins(plan, {1: (0, 2)})
    line, seen = view_line(desk, seen=1, at_s=1.5)
    assert json.loads(line)["shape"]["number"] == seen == 2


def test_the_surface_of_the_part_before_is_not_shown_as_that_of_the_next(desk: TestDesk) -> None:
    _, plan = shipped("shaft-scale")
    desk.publisher.tell(RunState("preparing", part=1, parts=3))
    desk.begins(plan, {1: (2, 2)})
    desk.publisher.tell(RunState("between", still=True, part=1, parts=3))
    assert view(desk)["cells"] == "dnnnnn"
    desk.publisher.tell(RunState("between", still=True, part=2, parts=3))
    shown = view(desk)
    assert (shown["surface"], shown["cells"], shown["at"]) == (0, "", None)
    assert "shape" not in json.loads(view_line(desk, seen=0, at_s=0.0)[0])


def test_beside_stale_nothing_stands_that_was_said_before(desk: TestDesk) -> None:
    desk.tell("STILL, gate closed: change the part.")
    desk.works()
    assert view(desk)["told"] == ("STILL, gate closed: change the part.",)
    desk.hangs(STALE_S + 0.01)
    assert view(desk)["told"] == ()
