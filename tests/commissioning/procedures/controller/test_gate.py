"""`gate`: each line toggled and read back, the answer timed, and nothing turns; the gate is closed whatever happens."""

from __future__ import annotations

import math
import random
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.procedures.controller.gate import GateProcedure
from firmware_host.commissioning.record import Record, read_record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import carry_out
from firmware_host.errors import FirmwareHostError, InputError, PortLostError
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.marking import MarkingSide
from firmware_host.station.stop_request import StopAskedError
from tests.commissioning.hidden.hands import bench_of
from tests.commissioning.procedures.controller.marking_bench import MODEM, Gated, Watcher, gated
from tests.support.hand_bench import hand_on
from tests.support.station_bench import quick_disk


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.mark.parametrize("board", ["status-query", "numbered-line"])
def test_every_line_is_toggled_and_read_back_and_the_answer_is_timed_without_a_pulse(
    tmp_path: Path, board: str
) -> None:
    made = gated(tmp_path, {**MODEM, "stop": "dcd"}, board=board)
    with made.hand() as hand:
        person = Watcher(hand, made.lines)
        *lines, answer = made.measure(hand, "gate", person)
    assert person.asked == [
        "confirm", "open-RTS", "closed-RTS", "switch-CTS", "back-CTS", "switch-DCD", "back-DCD",
    ]  # fmt: skip
    assert person.open_when["open-RTS"]
    assert not any(person.open_when[key] for key in person.open_when if key != "open-RTS")
    assert [each.key for each in lines] == ["gate-line-rts", "gate-line-cts", "gate-line-dcd"]
    assert all(each.verdict == "as stated" for each in lines)
    mean = sum(made.lines.delays[1:]) / 5  # the first opening was for the eye
    assert answer.measured.lowest <= mean <= answer.measured.highest
    assert answer.measured.value == pytest.approx(mean + 0.02, abs=0.015)  # the line has to last 20 ms to count
    assert answer.verdict == "as stated"
    made.nothing_turned()
    assert not made.lines.is_open


def test_the_times_are_known_as_closely_as_the_looks_follow_one_another(tmp_path: Path) -> None:
    made = gated(tmp_path, spread=0.0)
    with made.hand() as hand:
        *_, answer = made.measure(hand, "gate", Watcher(hand, made.lines))
    assert 0 < answer.measured.deviation < 0.02
    assert "They scatter by less than can be told (" in answer.sentence


@pytest.mark.parametrize(
    ("says", "key", "told"),
    [
        pytest.param({"open-RTS": "no"}, "gate-line-rts", "RTS is not seen there", id="out is not seen"),
        pytest.param({"closed-RTS": "no"}, "gate-line-rts", "RTS does not go off there", id="out stays on"),
        pytest.param({"switch-CTS": "no"}, "gate-line-cts", "nobody could switch it", id="in is not tried"),
    ],
)
def test_a_line_that_does_not_come_through_is_named(tmp_path: Path, says: dict[str, str], key: str, told: str) -> None:
    made = gated(tmp_path)
    with made.hand() as hand:
        found = made.measure(hand, "gate", Watcher(hand, made.lines, says))
    (bad,) = (each for each in found if each.verdict == "change")
    assert bad.key == key
    assert told in bad.sentence


def test_a_marking_side_that_does_not_answer_is_a_finding_and_the_gate_is_closed(tmp_path: Path) -> None:
    made = gated(tmp_path)
    made.lines.answers = False
    with made.hand() as hand:
        _, cts, answer = made.measure(hand, "gate", Watcher(hand, made.lines))
        assert not made.lines.is_open
    assert "CTS does not come through (off, off when it was switched" in cts.sentence
    assert answer.sentence.startswith("No answer: CTS did not turn on within 10 s.")
    assert answer.verdict == "change"
    made.nothing_turned()


def test_a_timeout_that_leaves_too_little_gets_twice_the_slowest_answer(tmp_path: Path) -> None:
    made = gated(tmp_path, {**MODEM, "timeout": "1.2 s"})
    with made.hand() as hand:
        *_, answer = made.measure(hand, "gate", Watcher(hand, made.lines))
    assert answer.change is not None
    assert (answer.change.key, answer.change.file) == ("gate.timeout", "job")
    seconds = float(str(answer.change.value).removesuffix(" s"))
    assert 2 * max(made.lines.delays[1:]) <= seconds <= 2.4 * (max(made.lines.delays[1:]) + 0.04)


def test_nothing_is_opened_while_the_laser_is_on(tmp_path: Path) -> None:
    made = gated(tmp_path)
    with made.hand() as hand:
        person = Watcher(hand, made.lines, {"confirm": "on"})
        with pytest.raises(InputError, match="the laser is not off: the gate stays closed"):
            made.measure(hand, "gate", person)
    assert not any(on for _, on in made.lines.switched)
    assert any("CAUTION" in line for line in person.told)


def test_it_is_asked_anew_for_the_laser_when_it_is_resumed(tmp_path: Path) -> None:
    made = gated(tmp_path)
    with made.hand() as hand:
        first = Watcher(hand, made.lines, stops_at="switch-CTS")
        with pytest.raises(KeyboardInterrupt, match="went home"):
            made.measure(hand, "gate", first)
        assert not made.lines.is_open
        second = Watcher(hand, made.lines)
        found = made.measure(hand, "gate", second)
    assert first.asked == ["confirm", "open-RTS", "closed-RTS"]
    assert second.asked == ["confirm", "switch-CTS", "back-CTS"]
    assert len(found) == 3
    kinds = [event.kind for event in read_record(tmp_path / "kept.jsonl")]
    assert kinds.count("started") == 1


def test_the_zero_that_is_set_stays(tmp_path: Path) -> None:
    made = gated(tmp_path)
    with made.hand() as hand:
        hand.set_zero("12 deg", place="the start mark")
        made.measure(hand, "gate", Watcher(hand, made.lines))
        assert hand.zero_place == "the start mark"


class Mishap(Watcher):
    """Lets something happen while it looks at the open gate."""

    made: Gated
    fault: str

    def answer(self, ask: Ask) -> Answer:
        if ask.key == "open-RTS" and self.fault == "the cable is pulled":
            self.made.bench.port.pull_cable()
        if ask.key == "open-RTS" and self.fault == "the part is moved":
            self.made.bench.strangers_line("G53 G1 A90 F2000")
        if ask.key == "open-RTS" and self.fault == "a stop is asked":
            self.made.bench.stop.ask("by a test")
        return super().answer(ask)


@pytest.mark.parametrize(
    ("fault", "error", "told"),
    [
        pytest.param("the person goes", KeyboardInterrupt, "went home", id="the person goes"),
        pytest.param("the cable is pulled", PortLostError, "the cable is pulled", id="the cable is pulled"),
        pytest.param("the part is moved", FirmwareHostError, "moving|another step", id="the part is moved"),
        pytest.param("a stop is asked", StopAskedError, "by a test", id="a stop is asked"),
    ],
)
def test_whatever_happens_while_it_is_open_closes_it_first(
    tmp_path: Path, fault: str, error: type[BaseException], told: str
) -> None:
    made = gated(tmp_path)

    def measured() -> None:
        with made.hand() as hand:
            person = Mishap(hand, made.lines, stops_at="open-RTS" if fault == "the person goes" else "-")
            person.made, person.fault = made, fault
            made.measure(hand, "gate", person)

    with pytest.raises(error, match=told):
        measured()
    assert [on for _, on in made.lines.switched].count(True) == 1
    assert not made.lines.is_open


@pytest.mark.parametrize(
    ("gate", "told"),
    [
        pytest.param({"kind": "timed", "duration": "3 s"}, "Nobody is waited for at this gate", id="timed"),
        pytest.param({"kind": "operator", "timeout": "30 s"}, "leaves room", id="operator"),
        pytest.param({"kind": "controller-output", "output": 0, "duration": "2 s"}, "leave twice", id="output"),
    ],
)
def test_each_kind_of_gate_is_timed_without_a_pulse(tmp_path: Path, gate: dict[str, Any], told: str) -> None:
    made = gated(tmp_path, gate)
    if gate["kind"] == "operator":
        said = made.bench.operator.tell

        def tell(text: str) -> None:
            said(text)
            if text.startswith("STANDSTILL"):
                made.bench.operator.type("", made.bench.clock.monotonic() + 1.5)

        made.bench.operator.tell = tell  # type: ignore[method-assign]
    with made.hand() as hand:
        *lines, answer = made.measure(hand, "gate", Watcher(hand))
    assert answer.measured.value == pytest.approx({"timed": 3, "operator": 1.5}.get(gate["kind"], 2), abs=0.05)
    assert told in answer.sentence
    assert [each.key for each in lines] == (["gate-line-output-0"] if gate["kind"] == "controller-output" else [])
    made.nothing_turned()


def test_a_program_is_started_for_each_pass_and_one_that_fails_is_a_finding(tmp_path: Path) -> None:
    made = gated(tmp_path, {"kind": "command", "timeout": "1000000 s"})
    for code, verdict in (("", "as stated"), ("import sys; sys.exit(3)", "change")):
        side = MarkingSide((sys.executable, "-S", "-c", code), tmp_path)
        with hand_on(made.bench, None, side) as hand:
            (answer,) = made.measure(hand, "gate", Watcher(hand), repeats=2)
        assert answer.verdict == verdict
    assert "ended with status 3" in answer.sentence


def test_a_marking_side_that_nobody_has_started_is_a_finding(tmp_path: Path) -> None:
    made = gated(tmp_path, {"kind": "tcp", "timeout": "20 s", "connect": "5 s"})
    with made.hand() as hand:
        (answer,) = made.measure(hand, "gate", Watcher(hand))
    assert "no marking side said hello within 5 s" in answer.sentence


def test_a_machine_has_no_gate_and_a_hand_that_only_turns_opens_none(tmp_path: Path) -> None:
    made = gated(tmp_path)
    with hand_on(made.bench) as hand, Record(tmp_path / "kept.jsonl", "m", made.bench.clock) as record:
        of_machine = replace(bench_of(hand, "gate"), setup=None)
        with pytest.raises(InputError, match="the gate belongs to a job"):
            carry_out(GateProcedure(), of_machine, hand, Watcher(hand), record)
        with pytest.raises(InputError, match="the gate belongs to a job"):
            _ = hand.marking
    assert not any(on for _, on in made.lines.switched)


class QuickMarking:
    """Answers after a drawn time, known to `seen_to`."""

    def __init__(self, rng: random.Random, mean: float, spread: float) -> None:
        self._rng, self._mean, self._spread = rng, mean, spread
        self.seen_to = 0.01

    def tried(self, request: Any) -> float:
        return self._rng.gauss(self._mean, self._spread) + self._rng.uniform(-self.seen_to, self.seen_to)


@pytest.mark.parametrize("cases", [pytest.param(60, id="60"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_interval_holds_the_true_time_in_nineteen_gates_of_twenty(tmp_path: Path, cases: int) -> None:
    made = gated(tmp_path, {"kind": "operator"})
    holds = 0
    with made.hand() as hand:
        bench = bench_of(hand, "gate")
    for seed in range(cases):
        rng = random.Random(seed)
        mean = rng.uniform(0.2, 5)

        class Quick:
            now_s = 0.0
            marking = QuickMarking(rng, mean, rng.uniform(0.0, 0.2))

        with Record(tmp_path / f"{seed}.jsonl", "m", VirtualClock()) as record:
            quick = cast("Hand", Quick())
            person = Watcher(quick)
            person.answer = lambda ask: ask.choices[0]  # type: ignore[method-assign]
            (found,) = carry_out(GateProcedure(), bench, quick, person, record)
        holds += found.measured.lowest <= mean <= found.measured.highest
    assert 0.90 - 2 * math.sqrt(0.05 * 0.95 / cases) * (cases < 500) <= holds / cases <= 0.995 + 0.005 * (cases < 500)
