"""What others are told of a run, compared with the simulated motor and the gate themselves, in virtual time."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.controller import Controller
from firmware_host.errors import PositionError, RunStoppedError, StandstillError
from firmware_host.model import Setup
from firmware_host.station.gates.gate import PartContext, PassState
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import RunState, SilentProgress
from firmware_host.station.state.message import StateMessage, state_schema
from firmware_host.station.state.outlet import Outlet
from firmware_host.station.state.publisher import FRESH_S, StateProgress, StatePublisher, publishing_state
from tests.support.station_bench import StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


class Kept(Outlet):
    """Keeps every message, and looks at the truth when it comes."""

    def __init__(self, look: Callable[[], tuple[bool, bool]] = lambda: (False, False)) -> None:
        self.name = "kept"
        self._look = look
        self.messages: list[dict[str, Any]] = []
        self.truth: list[tuple[bool, bool]] = []

    def put(self, line: str) -> None:
        self.messages.append(json.loads(line))
        self.truth.append(self._look())

    def close(self) -> None:
        pass


class ToldBench(StationBench):
    """A bench whose run tells its state; it is asked for anew at every word to and from the board, too."""

    def __init__(self, tmp_path: Path, setup: Setup | str, part: PartContext | None = None, **options: Any) -> None:
        super().__init__(tmp_path, setup, **options)
        self.part = part
        self.kept = Kept(lambda: (self.moving, self.gate.is_open))
        self.publisher = StatePublisher(self.clock, [self.kept], self.setup.job.name)
        heard = self.port.spoil

        def spoil(data: bytes) -> bytes:
            self.publisher.renew()
            return heard(data)

        self.port.spoil = spoil

    def station(self, controller: Controller) -> Station:
        station = super().station(controller)
        return replace(station, progress=StateProgress(self.progress, self.publisher), part=self.part)

    @property
    def told(self) -> list[dict[str, Any]]:
        return self.kept.messages

    def never_said_still_while_moving(self) -> None:
        pairs = list(zip(self.told, self.kept.truth, strict=True))
        assert any(moving for _, (moving, _) in pairs)
        assert any(message["still"] for message, _ in pairs)
        wrong = [message for message, (moving, _) in pairs if message["still"] and moving]
        assert wrong == []
        assert [message for message, (_, is_open) in pairs if is_open is not message["gate_open"]] == []


@pytest.mark.parametrize("job", ["shaft-scale", "bottle-band", "sleeve-label"])
def test_still_is_told_only_while_the_motor_stands_and_the_gate_as_it_is(job: str, tmp_path: Path) -> None:
    bench = ToldBench(tmp_path, job)
    bench.run()
    bench.never_said_still_while_moving()
    assert any(is_open for _, is_open in bench.kept.truth)


def test_the_messages_are_numbered_timed_and_follow_the_passes(tmp_path: Path) -> None:
    bench = ToldBench(tmp_path, small_setup())
    bench.run()
    told = bench.told
    assert [message["sequence"] for message in told] == list(range(1, len(told) + 1))
    times = [datetime.fromisoformat(message["time"]) for message in told]
    assert times == sorted(times)
    assert {each.tzinfo for each in times} == {UTC}
    changes = [(m["phase"], m["segment"], m["pass"]) for m in told]
    changes = [each for each, before in zip(changes, [None, *changes], strict=False) if each != before]
    marked = [(segment, number) for phase, segment, number in changes if phase == "marking"]
    assert marked == [(1, 1), (1, 2), (2, 1), (2, 2), (3, 1), (3, 2)]
    assert changes[0] == ("preparing", 0, 0)
    assert [phase for phase, segment, _ in changes if segment == 2] == [
        "turning", "settling", "marking", "settling", "marking", "settling"
    ]  # fmt: skip
    assert {(m["segments"], m["passes"], m["of"]) for m in told if m["phase"] == "marking"} == {(3, 2, 6)}
    assert [m["done"] for m in told] == sorted(m["done"] for m in told)
    last = told[-1]
    assert (last["phase"], last["outcome"], last["done"], last["still"]) == ("done", "done", 6, False)
    assert {m["outcome"] for m in told[:-1]} == {None}
    assert {m["job"] for m in told} == {bench.setup.job.name}
    assert {(m["part"], m["parts"], m["serial"]) for m in told} == {(None, None, None)}


def test_still_holds_through_a_long_pass_and_a_long_settling(tmp_path: Path) -> None:
    """Both last many times as long as a look counts; it is asked at each word to the board and every 50 ms."""
    setup = small_setup(passes=1)
    slow = setup.with_values({"index.settle": "3 s"})
    bench = ToldBench(tmp_path, slow, gate=lambda context: TimedGate(context, 3.0))
    bench.clock.on_sleep = bench.publisher.renew
    bench.run()
    for phase in ("settling", "marking"):
        told = [message for message in bench.told if message["phase"] == phase]
        assert len(told) > 3 * 20  # three times 3 s
        assert all(message["still"] for message in told), phase
    bench.never_said_still_while_moving()


def test_still_holds_while_the_run_is_held_and_the_gate_is_told_as_closed(tmp_path: Path) -> None:
    bench = ToldBench(tmp_path, small_setup(passes=1))
    bench.at("gate-open", bench.control.hold, rests=2)
    heard, since_s = bench.port.spoil, []

    def carry_on_after_3_s(data: bytes) -> bytes:
        if bench.told and bench.told[-1]["phase"] == "held":
            since_s.append(bench.clock.monotonic())
            if since_s[-1] - since_s[0] > 3:
                bench.control.carry_on()
        return heard(data)

    bench.port.spoil = carry_on_after_3_s
    bench.run()
    held = [message for message in bench.told if message["phase"] == "held"]
    assert len(held) > 20
    assert all(message["still"] and not message["gate_open"] for message in held)
    assert {message["segment"] for message in held} == {2}
    bench.never_said_still_while_moving()


def test_of_a_batch_part_and_serial_are_told(tmp_path: Path) -> None:
    bench = ToldBench(tmp_path, small_setup(passes=1), PartContext(3, 24, serial="A-103"))
    bench.run()
    assert {(m["part"], m["parts"], m["serial"]) for m in bench.told if m["phase"] == "marking"} == {(3, 24, "A-103")}


def test_a_run_that_is_stopped_while_it_turns_ends_as_stopped(tmp_path: Path) -> None:
    bench = ToldBench(tmp_path, "shaft-scale")
    bench.at("moving", lambda: bench.stop.ask("by the test"), rests=2)
    with pytest.raises(RunStoppedError, match="by the test"):
        bench.run()
    assert (bench.told[-1]["phase"], bench.told[-1]["outcome"]) == ("stopped", "stopped")
    bench.never_said_still_while_moving()


def test_an_axis_that_begins_to_move_while_the_gate_is_open_is_no_longer_still_as_soon_as_the_run_knows(
    tmp_path: Path,
) -> None:
    bench = ToldBench(tmp_path, small_setup())
    bench.at("gate-open", lambda: bench.strangers_line(f"G91 G1 {bench.axis}20 F200"))
    with pytest.raises((StandstillError, PositionError), match=r"moving|another step"):
        bench.run()
    pairs = list(zip(bench.told, bench.kept.truth, strict=True))
    closed = next(place for place, (message, (moving, is_open)) in enumerate(pairs)
                  if message["phase"] != "marking" and moving and not is_open and message["segment"] == 1
                  and any(earlier["phase"] == "marking" for earlier in bench.told[:place]))  # fmt: skip
    after = bench.told[closed:]
    assert len(after) > 2  # it was stopped, and asked whether it stands
    assert not any(message["still"] or message["gate_open"] for message in after)
    assert bench.told[-1]["outcome"] == "failed"


class Hanging(TimedGate):
    """A gate at which the run's thread hangs for a minute."""

    hang: Callable[[], None] = staticmethod(lambda: None)

    def poll(self) -> PassState:
        self.hang()
        return super().poll()


def test_a_run_that_hangs_does_not_go_on_being_still(tmp_path: Path) -> None:
    bench = ToldBench(tmp_path, small_setup(passes=1), gate=lambda context: Hanging(context, 2.0))
    said: list[tuple[float, bool]] = []

    def hang() -> None:
        if not said:
            for passed_s in (0.0, 0.4, 0.2, 60.0):
                bench.clock.advance_to(bench.clock.monotonic() + passed_s)
                bench.publisher.renew()
                said.append((passed_s, bench.told[-1]["still"]))

    bench.gate.inner.hang = hang  # type: ignore[attr-defined]
    bench.run()
    assert [still for _, still in said] == [True, True, False, False]  # seen 0, 0.4, 0.6 and 60.6 s ago
    assert FRESH_S == 0.5
    assert bench.told[-1]["outcome"] == "done"


def test_every_message_is_of_the_schema_and_the_schema_stands_in_the_docs(tmp_path: Path) -> None:
    """Checked by jsonschema, which is another library."""
    bench = ToldBench(tmp_path, small_setup(passes=1), PartContext(1, 2))
    bench.run()
    schema = state_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    checker = jsonschema.Draft202012Validator(schema)
    for message in bench.told:
        checker.validate(message)
    with pytest.raises(jsonschema.ValidationError, match="'perhaps' is not of type 'boolean'"):
        checker.validate(bench.told[0] | {"still": "perhaps"})
    kept = Path(__file__).parents[3] / "docs" / "pages" / "state.schema.json"
    assert json.loads(kept.read_text("utf-8")) == schema, "write it anew: json.dumps(state_schema(), indent=1)"


def test_a_run_that_could_not_begin_ends_as_failed_and_one_that_did_is_left_as_it_ended(tmp_path: Path) -> None:
    clock, kept = VirtualClock(), Kept()
    publisher = StatePublisher(clock, [kept], "a job")
    publisher.end("done")
    assert kept.messages == []
    publisher.end("failed")
    assert kept.messages[-1]["outcome"] == "failed"
    publisher.tell(RunState("stopped", done=2, of=6))
    publisher.end("failed")
    assert [m["outcome"] for m in kept.messages] == ["failed", "stopped"]


@pytest.mark.parametrize("outcome", ["done", "stopped", "failed"])
def test_a_batch_that_ends_between_two_parts_has_an_end(outcome: Any) -> None:
    kept = Kept()
    publisher = StatePublisher(VirtualClock(), [kept], "a job")
    publisher.tell(RunState("done", part=2, parts=3))
    publisher.tell(RunState("between", still=True, part=2, parts=3))
    assert (kept.messages[-1]["still"], kept.messages[-1]["outcome"]) == (True, None)
    publisher.end(outcome)
    ended = kept.messages[-1]
    assert (ended["phase"], ended["still"], ended["outcome"], ended["part"]) == (outcome, False, outcome, 2)


def test_without_a_place_to_tell_it_the_progress_is_the_one_that_was_given() -> None:
    inner = SilentProgress()
    with publishing_state((), "a job", VirtualClock(), inner) as progress:
        assert progress is inner


def test_a_message_has_one_form() -> None:
    fields = set(StateMessage.model_json_schema(by_alias=True)["properties"])
    assert fields == {
        "version", "sequence", "time", "stale_after_s", "phase", "still", "gate_open", "job", "part", "parts", "serial",
        "segment", "segments", "pass", "passes", "done", "of", "left_s", "outcome", "next_segment", "next_pass",
    }  # fmt: skip
