"""What a procedure has done to the machine besides turning it: waits, turns to and fro, releases the motor, holds."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Literal

import pytest

from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record, read_record
from firmware_host.commissioning.script import (
    Answer,
    Ask,
    Hold,
    ReadClock,
    Release,
    Script,
    Step,
    TurnTo,
    TurnToAndFro,
    Wait,
)
from firmware_host.commissioning.session import Person, carry_out, place_of
from firmware_host.errors import InputError
from firmware_host.model import load_job
from firmware_host.planning.by_hand import hand_on_job
from firmware_host.station.hand.hand import Hand
from tests.support.hand_bench import hand_on
from tests.support.station_bench import StationBench

SHAFT = hand_on_job(load_job("shaft-scale"))
QUARTER = Fraction(1, 4)


class Steps(Procedure):
    """The steps that a test wants."""

    key = "steps"
    title = purpose = "a test"
    needs = ()

    def __init__(self, *steps: Step, resumed: Literal["at its place", "anywhere", "never"] = "at its place") -> None:
        self._steps = steps
        self.resumed = resumed  # type: ignore[misc]
        self.replies: list[Answer | None] = []

    def moves(self, bench: Bench) -> str:
        return ""

    def script(self, bench: Bench) -> Script:
        self.replies = []
        for step in self._steps:
            self.replies.append((yield step))
        found: tuple[Finding, ...] = ()
        return found


class Standing(Steps):
    """Steps that turn nothing."""

    key = "standing"
    stands_still = True


class Watcher(Person):
    """Answers each question with 1, and sees how the machine stands then; goes home before `stops_at`."""

    def __init__(self, hand: Hand, stops_at: str = "") -> None:
        self.hand, self.stops_at = hand, stops_at
        self.seen: list[tuple[str, float, bool]] = []

    def tell(self, text: str) -> None:
        pass

    def answer(self, ask: Ask) -> Answer:
        if ask.key == self.stops_at:
            raise KeyboardInterrupt
        self.seen.append((ask.key, self.hand.where.degrees, self.hand.where.energised))
        return 1.0


def bench_of(hand: Hand) -> Bench:
    plan = hand.plan
    return Bench(plan.machine, plan.setup, plan.per_turn, plan.diameter, 1, 5, 1e-5, 1e-3)


def asked(key: str) -> Ask:
    return Ask(key, "?", "number")


def carried_out(folder: Path, *steps: Step) -> tuple[list[Answer | None], Watcher, float]:
    """What a procedure of these steps was answered, who watched, how long it took (s of the bench's clock)."""
    bench, procedure = StationBench(folder, load_job("shaft-scale")), Steps(*steps)
    with hand_on(bench, SHAFT) as hand, Record(folder / "kept.jsonl", "m", bench.clock) as record:
        person, began_s = Watcher(hand), bench.clock.monotonic()
        carry_out(procedure, bench_of(hand), hand, person, record)
        return procedure.replies, person, bench.clock.monotonic() - began_s


def test_a_wait_takes_its_time_and_the_clock_that_is_read_says_so(tmp_path: Path) -> None:
    replies, _, took_s = carried_out(tmp_path, ReadClock("first"), Wait(90.0, "to cool"), ReadClock("second"))
    first, second = replies[0], replies[2]
    assert isinstance(first, float)
    assert isinstance(second, float)
    assert 90.0 <= second - first < 92.0
    assert took_s >= 90.0


def test_turning_to_and_fro_goes_on_for_its_time_and_ends_where_it_began(tmp_path: Path) -> None:
    step = TurnToAndFro(60.0, QUARTER, 4.0, "the job's cycle")
    _, person, took_s = carried_out(tmp_path, TurnTo(QUARTER, "away"), step, asked("end"))
    assert person.seen == [("end", 90.0, True)]
    assert 60.0 <= took_s < 80.0


def test_a_released_motor_is_held_again_at_the_place_that_was_read(tmp_path: Path) -> None:
    steps = (TurnTo(QUARTER, "away"), Release("look"), asked("loose"), Hold(Fraction(1, 3), "it fell"), asked("held"))
    _, person, _ = carried_out(tmp_path, *steps)
    assert [(key, energised) for key, _, energised in person.seen] == [("loose", False), ("held", True)]
    assert person.seen[1][1] == pytest.approx(120.0, abs=0.1)


@pytest.mark.parametrize(
    ("resumed", "again"),
    [
        pytest.param("anywhere", ["second"], id="wherever it is"),
        pytest.param("at its place", ["first", "second"], id="at its place"),
        pytest.param("never", ["first", "second"], id="never"),
    ],
)
def test_after_a_release_only_what_needs_no_place_goes_on(
    tmp_path: Path, resumed: Literal["at its place", "anywhere", "never"], again: list[str]
) -> None:
    bench = StationBench(tmp_path, load_job("shaft-scale"))
    procedure = Steps(Release("look"), asked("first"), asked("second"), resumed=resumed)
    with hand_on(bench, SHAFT) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        with pytest.raises(KeyboardInterrupt):
            carry_out(procedure, bench_of(hand), hand, Watcher(hand, stops_at="second"), record)
        hand.hold()
        person = Watcher(hand)
        carry_out(procedure, bench_of(hand), hand, person, record)
    assert [key for key, _, _ in person.seen] == again


def test_what_can_never_go_on_begins_anew_although_it_stands_at_its_place(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, load_job("shaft-scale"))
    procedure = Steps(asked("first"), asked("second"), resumed="never")
    with hand_on(bench, SHAFT) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        with pytest.raises(KeyboardInterrupt):
            carry_out(procedure, bench_of(hand), hand, Watcher(hand, stops_at="second"), record)
        assert hand.zero_place == place_of(procedure)
        person = Watcher(hand)
        carry_out(procedure, bench_of(hand), hand, person, record)
    assert [key for key, _, _ in person.seen] == ["first", "second"]
    assert [event.kind for event in read_record(tmp_path / "kept.jsonl")].count("started") == 2


def test_a_motor_that_was_let_go_of_is_let_go_of_again_where_only_readings_behind_that_are_missing(
    tmp_path: Path,
) -> None:
    """Else a weight would pull at a motor that holds."""
    bench = StationBench(tmp_path, load_job("shaft-scale"))
    procedure = Steps(Release("look"), asked("first"), asked("second"), Hold(QUARTER, "so"), asked("third"),
                      resumed="anywhere")  # fmt: skip
    with hand_on(bench, SHAFT) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        for stops_at, seen in (("second", [("first", False)]), ("third", [("second", False)])):
            person = Watcher(hand, stops_at=stops_at)
            with pytest.raises(KeyboardInterrupt):
                carry_out(procedure, bench_of(hand), hand, person, record)
            assert [(key, energised) for key, _, energised in person.seen] == seen
            hand.hold()
        person = Watcher(hand)
        carry_out(procedure, bench_of(hand), hand, person, record)
        assert [(key, energised) for key, _, energised in person.seen] == [("third", True)]


def test_readings_of_a_procedure_outlast_another_that_turns_nothing(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, load_job("shaft-scale"))
    procedure, other = Steps(asked("first"), asked("second")), Standing(asked("only"))
    with hand_on(bench, SHAFT) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        with pytest.raises(KeyboardInterrupt):
            carry_out(procedure, bench_of(hand), hand, Watcher(hand, stops_at="second"), record)
        carry_out(other, bench_of(hand), hand, Watcher(hand), record)
        person = Watcher(hand)
        carry_out(procedure, bench_of(hand), hand, person, record)
    assert [key for key, _, _ in person.seen] == ["second"]


def test_what_the_machine_can_not_have_sets_no_zero_and_notes_nothing(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, load_job("shaft-scale"))
    with hand_on(bench, SHAFT) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        with pytest.raises(InputError, match="no rollers"):
            carry_out(procedure_named("grip"), bench_of(hand), hand, Watcher(hand), record)
        assert hand.zero_place == ""
    assert [event.kind for event in read_record(tmp_path / "kept.jsonl")] == ["begin"]
