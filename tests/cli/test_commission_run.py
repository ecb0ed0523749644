"""`commission run` as a person leaves it: stopped, skipped, given up, taken back, repeated; no reading is lost."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_host.model import load_machine
from firmware_host.simulator.true_machine.axis import TrueAxis
from tests.cli.command import Ended, call
from tests.cli.commissioning_bench import PORT, STOP, Wire, true_board, typed

RUN = ("commission", "run", "my-job.toml", "--port", PORT)
BEGIN = r"Begin it, skip it, or stop here\?"
PLACE = r"the reading, come from (below|above)"
WRITE = r"Write .*\? \(yes, no\)$"
JOB = """
version = 1
name = "a shaft on my own machine"
machine = "mine.toml"

[part]
kind = "solid"
diameter = "50 mm"
length = "120 mm"
mass = "1.85 kg"
overhang = "60 mm"

[mark]
arc = "60 mm"
width = "20 mm"

[window]
half_depth = "0.5 mm"
"""


class Script:
    """Answers to questions, each by what is asked: the first answer that is left of the first pattern that fits."""

    def __init__(self, *answers: tuple[str, str]) -> None:
        self.left = list(answers)

    def __call__(self, shown: str) -> str:
        for place, (asked, answer) in enumerate(self.left):
            if re.search(asked, " ".join(shown[-300:].split())):
                del self.left[place]
                return answer
        raise AssertionError(f"nobody knows what to type at {shown[-300:]!r}")


def lost_motion(*readings: str) -> tuple[tuple[str, str], ...]:
    return ((BEGIN, "begin"), *((PLACE, each) for each in readings))


FIVE = ("0 deg", "0.5 deg") * 5


@pytest.fixture
def wire() -> Wire:
    return Wire()


@pytest.fixture(autouse=True)
def board(home: Path, wire: Wire) -> Iterator[TrueAxis]:
    """A board set as the files need it, with a belt-reduced chuck of one's own behind it."""
    text = call("profile", "show", "machine", "belt-chuck").out
    Path("mine.toml").write_text(text, encoding="utf-8")
    Path("my-job.toml").write_text(JOB, encoding="utf-8")
    with true_board("mine.toml", wire=wire) as there:
        written = typed(("controller", "settings", "write", "my-job.toml", "--port", PORT), None)
        assert written.status == 0, written.out
        yield there.axis


def led(*names: str, answers: Script, more: tuple[str, ...] = ()) -> Ended:
    ended = typed((*RUN[:3], *names, *RUN[3:], *more), answers)
    assert answers.left == [], ended.out
    return ended


def record() -> dict[str, list[dict[str, object]]]:
    """Findings, and readings as they were answered, of the record."""
    return json.loads(call("commission", "report", "mine.toml", "--json").out)  # type: ignore[no-any-return]


def answered() -> list[object]:
    return [each["answer"] for each in record()["readings"]]


def printed(ended: Ended) -> tuple[str, ...]:
    """The command that was printed to resume with, taken apart."""
    (line,) = re.findall(r"Resume measuring with: circumstep (.*)", ended.out)
    return tuple(shlex.split(line))


# --- stopped --------------------------------------------------------------------------------------------------------


def test_ctrl_c_at_a_question_keeps_what_was_read_and_the_printed_command_resumes_there() -> None:
    stopped = led("lost-motion", answers=Script(*lost_motion("0 deg", "0.5 deg", "0.1 deg", STOP)))
    assert stopped.status == 4
    assert "stopped (Ctrl-C) while measuring; the part stands still; every reading so far is kept" in stopped.out
    assert printed(stopped) == (*RUN[:3], "lost-motion", *RUN[3:])
    rest = Script(*lost_motion("0.5 deg", *FIVE[4:]), (WRITE, "no"))
    resumed = typed(printed(stopped), rest)
    assert (resumed.status, rest.left) == (0, [])
    assert "broken off (readings so far: 3): it is resumed there." in resumed.out
    assert resumed.out.count("the place, from") == 7
    (found,) = record()["findings"]
    assert found["value"] == pytest.approx((0.5 + 0.4 + 3 * 0.5) / 5, abs=1e-6)
    assert len(answered()) == 10


def test_ctrl_c_in_the_middle_of_a_move_stops_the_axis_and_no_reading_is_lost(board: TrueAxis, wire: Wire) -> None:
    wire.stops_at = 7  # one off the zero, two to each of the places before, one on its way
    stopped = led("lost-motion", answers=Script(*lost_motion("0 deg", "0.5 deg")))
    assert stopped.status == 4
    assert "the axis was stopped on its way; every reading so far is kept" in stopped.out
    stood = board.pulses
    resumed = led("lost-motion", answers=Script(*lost_motion(*FIVE[2:]), (WRITE, "no")))
    assert resumed.status == 0
    assert "it is resumed there" in resumed.out
    assert stood != 0
    assert len(answered()) == 10


def test_a_line_that_goes_dead_says_how_to_resume(monkeypatch: pytest.MonkeyPatch) -> None:
    from firmware_host.cli.turn.virtual_port import VirtualPort
    from firmware_host.errors import PortLostError

    script = Script(*lost_motion("0 deg", "0.5 deg"))
    sent = VirtualPort.write

    def write(port: VirtualPort, data: bytes) -> None:
        if len(script.left) == 0:
            raise PortLostError(port.url, "was unplugged")
        sent(port, data)

    monkeypatch.setattr(VirtualPort, "write", write)
    lost = led("lost-motion", answers=script)
    assert lost.status == 3
    assert "was unplugged" in lost.out
    monkeypatch.setattr(VirtualPort, "write", sent)
    again = Script(*lost_motion(*FIVE[:8]), (WRITE, "no"))
    ended = typed(printed(lost), again)
    assert ended.status == 0, ended.out


def test_where_nobody_answers_any_more_it_stops_as_by_ctrl_c() -> None:
    stopped = typed((*RUN[:3], "lost-motion", *RUN[3:]), None)
    assert stopped.status == 4
    assert "nobody answers: standard input is closed" in stopped.out
    assert printed(stopped) == (*RUN[:3], "lost-motion", *RUN[3:])


def test_one_procedure_that_was_stopped_is_resumed_by_the_command_that_is_printed() -> None:
    words = ("commission", "measure", "lost-motion", "my-job.toml", "--port", PORT, "--repeats", "3")
    options = ("--read-to", "0.02 mm", "--angle-to", "0.1 deg", "--record", "kept here", "--write")
    stopped = typed((*words, *options), Script((PLACE, "0 deg"), (PLACE, STOP)))
    assert stopped.status == 4
    resume = printed(stopped)
    assert sorted(resume) == sorted((*words, *options))
    ended = typed(resume, Script(*((PLACE, each) for each in FIVE[1:6])))
    assert (ended.status, "Written: gearing.0.lost_motion = 0.5" in ended.out) == (0, True), ended.out


def test_stop_as_an_answer_ends_it_before_anything_moves(board: TrueAxis) -> None:
    stopped = led("direction", "ratio", answers=Script((BEGIN, "stop")))
    assert stopped.status == 4
    assert "Still to come: direction, ratio." in stopped.out
    assert printed(stopped) == (*RUN[:3], "direction", "ratio", *RUN[3:])
    assert board.pulses == 0


def test_with_the_motor_released_it_is_energised_by_a_command_of_its_own_and_released_again_for_the_readings_left(
    board: TrueAxis,
) -> None:
    """A stop energises nothing: a hand may be at the chuck."""
    drag = ((BEGIN, "begin"), ("Is the belt off", "yes"), ("cord runs on", "60 mm"), ("smallest weight", "5 g"))
    stopped = led("drag", answers=Script(*drag, ("the way a mark", "80 g"), ("the other way", STOP)))
    assert "the motor is released: the part may turn; every reading so far is kept" in " ".join(stopped.out.split())
    refused = typed(printed(stopped), None)
    assert refused.status == 3
    (unlock,) = re.findall(r"Unlock with: circumstep (.*)", refused.out)
    assert typed(tuple(shlex.split(unlock)), None).status == 0
    rest = Script((BEGIN, "begin"), ("the other way", "80 g"), *(("just turns it", "80 g"),) * 10,
                  ("And the gearing's efficiency", "no"), (WRITE, "no"))  # fmt: skip
    ended = typed(printed(refused), rest)
    assert (ended.status, rest.left) == (0, []), ended.out
    assert ended.out.count("Releasing the motor") == 1
    assert "(readings so far: 4): it is resumed there." in ended.out


# --- skipped, done, again -------------------------------------------------------------------------------------------

DIRECTION = ((BEGIN, "begin"), ("which way did it turn", "counter"))


@pytest.mark.slow
def test_what_is_skipped_comes_again_and_what_is_done_does_not() -> None:
    first = led("direction", "lost-motion", answers=Script((BEGIN, "skip"), *lost_motion(*FIVE), (WRITE, "no")))
    assert first.status == 0
    assert "direction: skipped." in first.out
    second = led("direction", "lost-motion", answers=Script(*DIRECTION, (WRITE, "no"), (WRITE, "no")))
    assert second.status == 0
    assert re.search(r"lost-motion: done on 2026-05-04", second.out)
    assert second.out.count("of 2: ") == 1


@pytest.mark.slow
def test_again_measures_what_is_done_and_a_stop_in_it_measures_nothing_thrice() -> None:
    led("direction", answers=Script(*DIRECTION, (WRITE, "no")))
    words = ("direction", "lost-motion")
    stopped = led(*words, answers=Script(*DIRECTION, (WRITE, "no"), *lost_motion("0 deg", STOP)), more=("--again",))
    assert printed(stopped) == (*RUN[:3], "lost-motion", *RUN[3:], "--again")
    ended = typed(printed(stopped), Script(*lost_motion(*FIVE[1:]), (WRITE, "no")))
    assert ended.status == 0, ended.out
    assert [each["quantity"] for each in record()["findings"]] == ["direction", "lost-motion"]
    assert len(answered()) == 1 + 1 + 10


def test_a_value_that_a_stop_kept_from_the_file_is_offered_once_more() -> None:
    stopped = led("lost-motion", answers=Script(*lost_motion(*FIVE), (WRITE, STOP)))
    assert stopped.status == 4
    assert load_machine("mine.toml").gearing[0].lost_motion.si == pytest.approx(3.49e-4, rel=0.01)  # type: ignore[union-attr]
    ended = led("lost-motion", answers=Script((WRITE, "yes")))
    assert "lost-motion: done on 2026-05-04, and written now." in ended.out
    assert load_machine("mine.toml").gearing[0].lost_motion.si == pytest.approx(8.73e-3, rel=0.01)  # type: ignore[union-attr]


# --- given up, taken back -------------------------------------------------------------------------------------------


def test_what_nothing_follows_from_is_told_the_list_goes_on_and_it_begins_anew_next_time(board: TrueAxis) -> None:
    """A cord that runs on nothing turns nothing; the motor is held again for what comes behind it."""
    drag = ((BEGIN, "begin"), ("Is the belt off", "yes"), ("diameter that the cord runs on", "0 mm"))
    rest = (("smallest weight", "5 g"), (BEGIN, "skip"))
    first = led("drag", "inertia", answers=Script(*drag, *rest))
    assert first.status == 0
    assert "drag was given up: reading: a diameter or a weight of nothing turns nothing" in " ".join(first.out.split())
    assert "2 of 2: inertia" in first.out
    second = led("drag", answers=Script((BEGIN, "begin"), ("Is the belt off", STOP)))
    assert "readings so far" not in second.out


@pytest.mark.slow
def test_a_reading_that_was_mistyped_is_taken_back(board: TrueAxis) -> None:
    """The axis turns back to the place, the reading is asked anew, and the record says that it was taken back."""
    mistyped = ("0 deg", "5 deg", "back", "0.5 deg", *FIVE[2:])
    ended = led("lost-motion", answers=Script(*lost_motion(*mistyped), (WRITE, "no")))
    assert ended.status == 0
    (found,) = record()["findings"]
    assert found["value"] == pytest.approx(0.5, abs=1e-6)
    assert answered().count("taken back") == 1
    assert ended.out.count("Turning: the place, from above.") == 6


def test_before_the_first_reading_there_is_nothing_to_take_back() -> None:
    ended = led(
        "direction", answers=Script((BEGIN, "begin"), ("which way", "back"), ("which way", "clock"), (WRITE, "no"))
    )
    assert ended.status == 0
    assert "no reading before this one that can be taken again" in " ".join(ended.out.split())


def test_what_needs_settings_written_is_passed_over_and_says_which_option_allows_it() -> None:
    ended = led("ramp", answers=Script())
    assert "--write-settings" in ended.out
    assert ended.status == 0
