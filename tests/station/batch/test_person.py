"""A person at the batch: what is typed, what it means, and that a part that fails its limits never moves."""

from pathlib import Path

import pytest

from firmware_host.errors import (
    ControllerError,
    InputError,
    LimitExceededError,
    RunStoppedError,
    SettingsMismatchError,
)
from firmware_host.model.files.parts import PartRow
from firmware_host.station.batch.events import PartZero
from firmware_host.station.batch.person import PausedSide, PersonSide
from firmware_host.station.batch.side import AloneSide, Ready, Stop
from tests.support.batch_bench import BatchBench, ScriptedSide, batch_setup
from tests.support.board_faults import miscount
from tests.support.journal_lines import journal_lines
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import ScriptedOperator, changed_setup, quick_disk


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


class Typing(ScriptedOperator):
    """Types the next of `lines` whenever a question ends: at the line that holds one of the words."""

    def __init__(self, bench: BatchBench, lines: list[str]) -> None:
        super().__init__(bench.clock)
        self._lines = lines

    def tell(self, text: str) -> None:
        super().tell(text)
        if text.endswith("s stops.") or text.startswith("Not understood"):
            assert self._lines, f"nothing is left to be typed at {text!r}"
            self.type(self._lines.pop(0), self._clock.monotonic() + 3.0)


def at_the_bench(tmp_path: Path, lines: list[str], rows: int | list[PartRow] = 2) -> tuple[BatchBench, Typing]:
    bench = BatchBench(tmp_path, rows=rows)
    operator = Typing(bench, lines)
    return bench, operator


def test_keys_put_parts_in_mark_again_scrap_and_leave_out(tmp_path: Path) -> None:
    bench, operator = at_the_bench(tmp_path, ["", "r 2-3 x1", "", "what?", "x", "50.1 mm", "scrap"], rows=3)
    record = bench.run_batch(side=PersonSide(operator))
    assert [part.result for part in record.parts] == ["redone", "skipped", "scrapped"]
    assert record.parts[2].diameter == "50.1 mm"
    expected = bench.every_pass((1, 3))
    expected[1, 2, 1] += 1
    expected[1, 3, 1] += 1
    assert bench.marked() == expected
    assert sum(text.startswith("Not understood") for text in operator.told) == 1


def test_no_line_to_the_person_is_wider_than_a_terminal(tmp_path: Path) -> None:
    rows = [PartRow(number, f"A-{number:03d}", values={"part.diameter": "50.02 mm"}) for number in (1, 2)]
    bench, operator = at_the_bench(tmp_path, ["", "", "", ""], rows=rows)
    bench.run_batch(side=PersonSide(operator))
    assert [line for line in operator.told if len(line) > 80] == []
    assert "Part 2 of 2 (serial A-002), diameter 50.02 mm." in operator.told
    assert "STILL, gate closed: change the part. The motor holds: the zero stays." in operator.told


def test_s_stops_between_parts_and_the_batch_is_resumed_there(tmp_path: Path) -> None:
    bench, operator = at_the_bench(tmp_path, ["", "", "s"])
    with pytest.raises(RunStoppedError, match=r"by the operator.*can be resumed"):
        bench.run_batch(side=PersonSide(operator))
    assert bench.marked() == bench.every_pass((1,))
    assert bench.resume_batch().outcome == "done"
    assert bench.marked() == bench.every_pass((1, 2))


TOO_HEAVY = {"part.mass": "400 kg"}


@pytest.mark.parametrize(
    ("values", "diameter", "error"),
    [
        (TOO_HEAVY, "", LimitExceededError),
        ({}, "50.1", InputError),
        ({}, "5 kg", InputError),
    ],
    ids=["limit", "no-unit", "no-length"],
)
def test_a_part_that_is_refused_does_not_move_and_may_be_left_out(
    values: dict[str, str], diameter: str, error: type[Exception], tmp_path: Path
) -> None:
    bench, operator = at_the_bench(tmp_path, [diameter, "x", "", ""], [PartRow(1, values=values), PartRow(2)])
    record = bench.run_batch(side=PersonSide(operator))
    assert [part.result for part in record.parts] == ["skipped", "good"]
    assert bench.marked() == bench.every_pass((2,))
    assert any("Part 1 of 2 can't be run: " in text for text in operator.told)
    alone = BatchBench(tmp_path / "alone", rows=[PartRow(1, values=values)], side=ScriptedSide())
    moves = len(alone.sent_moves())
    with pytest.raises(error):
        alone.run_batch(side=Unanswered(diameter))
    assert len(alone.sent_moves()) == moves


class Unanswered(AloneSide):
    """Says a diameter, and has nothing to say when that is refused."""

    def __init__(self, diameter: str) -> None:
        super().__init__()
        self._diameter = diameter

    def change(self, *told: object) -> Ready:
        return Ready(self._diameter)


def test_settings_that_do_not_fit_a_part_refuse_it_before_it_moves(tmp_path: Path) -> None:
    setup = changed_setup("shaft-scale", mark={"arc": "30 mm", "width": "10 mm"}, segments={"count": 3})
    rows = [PartRow(1), PartRow(2, values={"part.diameter": "51 mm", "part.mass": "2 kg"})]
    bench = BatchBench(tmp_path, setup, rows=rows)
    with pytest.raises(SettingsMismatchError, match="acceleration"):
        bench.run_batch(side=AloneSide())
    assert bench.marked() == bench.every_pass((1,))


def test_with_a_pause_each_part_follows_by_itself_and_is_good(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path)
    operator = ScriptedOperator(bench.clock)
    record = bench.run_batch(side=PausedSide(operator, bench.clock, 20.0))
    assert [part.result for part in record.parts] == ["good"] * 3
    assert [part.changing_s for part in record.parts] == pytest.approx([20.0] * 3, abs=0.2)
    assert sum("turns BY ITSELF in 20 s" in text for text in operator.told) == 3


class NumberedBatchBench(BatchBench, NumberedBench):
    """A batch at a board that takes numbered lines."""


@pytest.mark.parametrize("release", [False, True], ids=["held", "released"])
def test_a_batch_at_a_board_of_numbered_lines(release: bool, tmp_path: Path) -> None:
    bench = NumberedBatchBench(tmp_path, rows=3, variant=NUMBERED_LINE_BOARDS["plain"])
    record = bench.run_batch(release=release)
    assert [part.result for part in record.parts] == ["good"] * 3
    zeros = ["first", *["by-hand" if release else "kept"] * 2]
    assert [part.zero.value if part.zero else "" for part in bench.state().parts] == zeros
    assert bench.marked() == bench.every_pass((1, 2, 3))
    bench.never_open_while_moving()


@pytest.mark.parametrize(
    ("job", "release", "zeros", "said"),
    [
        ("shaft-scale", False, ["first", "kept", "kept"], "The motor holds: the zero stays."),
        ("shaft-scale", True, ["first", "by-hand", "by-hand"], "The motor is RELEASED: support the part."),
        ("bottle-band", False, ["first", "by-hand", "by-hand"], "rollers do not hold a part"),
    ],
    ids=["chuck", "released", "rollers"],
)
def test_where_the_next_zero_is_is_said_and_recorded(
    job: str, release: bool, zeros: list[str], said: str, tmp_path: Path
) -> None:
    bench = BatchBench(tmp_path, batch_setup(job))
    operator = Typing(bench, [""] * 6)
    bench.run_batch(side=PersonSide(operator), release=release)
    assert [part.zero.value if part.zero else "" for part in bench.state().parts] == zeros
    assert sum(said in text for text in operator.told) == 2
    assert bench.marked() == bench.every_pass((1, 2, 3))
    bench.never_open_while_moving()


def test_a_motor_that_the_controller_refuses_to_release_is_not_told_as_released(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path)
    real = bench.device.receive
    bench.device.receive = lambda data, now_s: real(data.replace(b"$SLP", b"$FOO"), now_s)  # type: ignore[method-assign]
    operator = Typing(bench, [""] * 6)
    record = bench.run_batch(side=PersonSide(operator), release=True)
    assert [part.result for part in record.parts] == ["good"] * 3
    assert not any("RELEASED" in text for text in operator.told)
    changes = [each for each in journal_lines(bench.batch.journal) if each["event"] == "change"]
    assert [(change["released"], change["refused"]) for change in changes] == [
        (False, ""),
        *[(True, ""), (False, "no such $ line")] * 2,
    ]
    assert not bench.state().released
    assert bench.state().disorder == ""


def test_whole_turns_between_parts_never_add_up(tmp_path: Path) -> None:
    """A turn of 5333 1/3 microsteps: after n parts the zero lies within half a microstep of n turns."""
    bench = BatchBench(tmp_path, batch_setup(finish="next-turn"), rows=7)
    bench.run_batch()
    per_turn = bench.machine.microsteps_per_part_turn(bench.setup.job.part.contact)
    origins = [bench.batch.run(part.runs[0]) for part in bench.state().parts]
    zeros = [folder.journal.read_text() for folder in origins]
    steps = [int(text.split('"origin_steps":')[1].split(",")[0]) for text in zeros]
    for turns, step in enumerate(steps):
        assert abs(step - steps[0] - turns * per_turn) <= 0.5


def test_an_axis_that_is_turned_while_the_part_is_changed_stops_the_batch(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path, side=ScriptedSide(takes_s=30.0))

    def turn() -> None:
        if bench.side.told[-1] == ("change", 2):
            miscount(bench.device, bench.axis, 40, bench.clock.monotonic())

    bench.side.on_ask = turn
    with pytest.raises(ControllerError, match=r"stands at|it is at|planned"):
        bench.run_batch()
    assert bench.marked() == bench.every_pass((1,))


def test_a_zero_that_cannot_be_proved_is_never_taken_silently(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path, side=ScriptedSide())
    bench.side.ready[2] = [Stop()]
    with pytest.raises(RunStoppedError, match="can be resumed"):
        bench.run_batch()
    bench.raw(f"$J=G91 {bench.axis}1 F100")  # somebody turned the axis meanwhile
    with pytest.raises(ControllerError, match=r"where part 2 stands cannot be proved.*did not leave it"):
        bench.resume_batch(side=AloneSide())
    assert bench.marked() == bench.every_pass((1,))
    assert bench.resume_batch(zero="here").outcome == "done"
    assert bench.state().parts[1].zero is PartZero.BY_HAND
