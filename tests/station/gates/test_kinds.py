"""Gates as such: the operator's answers, a fixed time, plug-ins, and what a gate has to have."""

import signal
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from firmware_host.clock import VirtualClock
from firmware_host.errors import GateError, GateTimeoutError, InputError
from firmware_host.model.job.gate import AnyGateOptions, ExtensionGateOptions, OperatorGateOptions, TimedGateOptions
from firmware_host.station.gates import gate as gate_module
from firmware_host.station.gates.command import CommandGate
from firmware_host.station.gates.gate import (
    ENTRY_POINTS,
    Gate,
    GateContext,
    PartContext,
    PassRequest,
    PassState,
    build_gate,
    gate_kinds,
)
from firmware_host.station.gates.operator import OperatorGate
from firmware_host.station.gates.timed import TimedGate
from tests.support.station_bench import ScriptedOperator

OPTIONS: Mapping[str, Mapping[str, object]] = {
    "command": {"timeout": "5 s"},
    "controller-output": {"duration": "5 s"},
    "modem-lines": {"timeout": "5 s"},
    "operator": {},
    "tcp": {"timeout": "5 s"},
    "timed": {"duration": "5 s"},
}
"""The built-in kinds, each with the least that a job has to say."""
BUILT_IN = tuple(OPTIONS)
REQUEST = PassRequest(segment=2, segments=6, number=1, passes=3, angle_deg=22.9125)


class Person:
    """A clock and a person; `context` is what a gate is built with."""

    def __init__(self) -> None:
        self.clock = VirtualClock()
        self.operator = ScriptedOperator(self.clock)
        self.context = GateContext(self.clock, self.operator)


@pytest.fixture
def person() -> Person:
    return Person()


def test_the_operator_is_told_which_pass_and_when_not_to_mark(person: Person) -> None:
    gate = OperatorGate(person.context)
    gate.open(REQUEST)
    assert "segment 2 of 6, pass 1 of 3" in person.operator.told[-1]
    gate.close()
    assert "GATE CLOSED" in person.operator.told[-1]
    told = len(person.operator.told)
    gate.close()
    assert len(person.operator.told) == told


def test_the_operator_is_told_which_part_of_a_batch_and_its_text_on_one_line(person: Person) -> None:
    gate = OperatorGate(person.context)
    gate.open(replace(REQUEST, part=PartContext(3, 24, "A-103", "For\nAda")))
    which = "part 3 of 24 (serial A-103), segment 2 of 6, pass 1 of 3, text For Ada"
    assert person.operator.told == [f"STANDSTILL: mark {which}. Enter when it is done, s and Enter to stop."]


@pytest.mark.parametrize("word", ["", "d", "DONE", "yes"], ids=["enter", "d", "done", "yes"])
def test_enter_says_done(word: str, person: Person) -> None:
    gate = OperatorGate(person.context)
    gate.open(REQUEST)
    assert gate.poll() is PassState.MARKING
    person.operator.type(word)
    assert gate.poll() is PassState.DONE


@pytest.mark.parametrize("word", ["s", "STOP", "q", "quit"])
def test_a_stop_word_says_stop(word: str, person: Person) -> None:
    gate = OperatorGate(person.context)
    gate.open(REQUEST)
    person.operator.type(word)
    assert gate.poll() is PassState.STOP


@pytest.mark.parametrize("word", ["no", "wait", "not yet", "dd"])
def test_any_other_word_does_not_say_that_the_pass_is_done(word: str, person: Person) -> None:
    gate = OperatorGate(person.context)
    gate.open(REQUEST)
    person.operator.type(word)
    assert gate.poll() is PassState.MARKING
    assert "Not understood" in person.operator.told[-1]
    person.operator.type("")
    assert gate.poll() is PassState.DONE


def test_enter_from_before_the_gate_was_open_says_nothing_of_this_pass(person: Person) -> None:
    gate = OperatorGate(person.context)
    for word in ("", "", "s"):
        person.operator.type(word)
    gate.open(REQUEST)
    assert gate.poll() is PassState.MARKING


def test_the_operator_gate_gives_up_after_its_time_and_not_before(person: Person) -> None:
    gate = OperatorGate.build(OperatorGateOptions.model_validate({"timeout": "30 s"}), person.context)
    gate.open(REQUEST)
    person.clock.sleep(30.0)
    assert gate.poll() is PassState.MARKING
    person.clock.sleep(0.1)
    with pytest.raises(GateTimeoutError, match="nobody confirmed within 30 s that the pass is done"):
        gate.poll()


def test_without_a_time_the_operator_gate_closes_after_an_hour(person: Person) -> None:
    gate = OperatorGate.build(OperatorGateOptions(), person.context)
    gate.open(REQUEST)
    person.clock.sleep(3599.9)
    assert gate.poll() is PassState.MARKING
    person.clock.sleep(0.2)
    with pytest.raises(GateTimeoutError, match="nobody confirmed within 3600 s that the pass is done"):
        gate.poll()


def test_a_timed_pass_is_done_at_its_time_and_not_before(person: Person) -> None:
    gate = TimedGate.build(TimedGateOptions.model_validate({"kind": "timed", "duration": "2.5 s"}), person.context)
    for _ in range(2):  # a second pass takes its own time
        gate.open(REQUEST)
        person.clock.sleep(2.4999)
        assert gate.poll() is PassState.MARKING
        person.clock.sleep(0.0002)
        assert gate.poll() is PassState.DONE
        gate.close()
        gate.close()


@pytest.mark.parametrize("kind", ["timed", "command"])
def test_a_gate_polled_while_closed_says_so_instead_of_done(kind: str, person: Person) -> None:
    context = GateContext(person.clock, person.operator, ("true",))
    gates: dict[str, Gate] = {"timed": TimedGate(context, 0.0), "command": CommandGate(context, 1.0)}
    with pytest.raises(GateError, match=f"gate {kind}: polled while closed"):
        gates[kind].poll()


def test_a_gate_that_gives_up_closes_itself_before_it_says_so(person: Person) -> None:
    """Whoever polls it need not know that it has to be closed: the permission has ended when the error is seen."""
    gate = OperatorGate(person.context, timeout_s=30.0)
    gate.open(REQUEST)
    person.clock.sleep(31.0)
    with pytest.raises(GateTimeoutError, match="within 30 s"):
        gate.poll()
    assert person.operator.told[-1] == "GATE CLOSED: do not mark."
    command = CommandGate(replace(person.context, program=("sleep", "600")), 30.0)
    command.open(REQUEST)
    process = command._started
    assert process is not None
    person.clock.sleep(31.0)
    with pytest.raises(GateTimeoutError, match="took longer than 30 s; it was ended"):
        command.poll()
    assert process.status() in (-signal.SIGTERM, 0xC000013A)  # asked to end; on Windows, by Ctrl-Break


def test_an_operator_gate_without_anybody_to_answer_closes_itself_first(person: Person) -> None:
    class Nobody(ScriptedOperator):
        def answer(self) -> str | None:
            raise GateError("operator", "nobody can answer")

        def forget(self) -> None:
            self.told.append("forgotten")

    nobody = Nobody(person.clock)
    gate = OperatorGate(GateContext(person.clock, nobody))
    gate.open(REQUEST)
    with pytest.raises(GateError, match="nobody can answer"):
        gate.poll()
    assert nobody.told[-1] == "GATE CLOSED: do not mark."


# --- plug-ins --------------------------------------------------------------------------------------------------


class FootSwitchGate(Gate):
    """A plug-in's gate that keeps the options it was built with."""

    kind = "foot-switch"

    def __init__(self, options: Mapping[str, Any]) -> None:
        self.options = options

    @classmethod
    def build(cls, options: Any, context: GateContext) -> "FootSwitchGate":
        if "pin" not in options:
            raise InputError("the foot switch needs a pin", "Give gate.options.pin", key="gate.options")
        return cls(options)

    def open(self, request: PassRequest) -> None:
        pass

    def poll(self) -> PassState:
        return PassState.DONE

    def close(self) -> None:
        pass


class Point:
    """What importlib.metadata hands out for one entry point."""

    def __init__(self, name: str, target: type) -> None:
        self.name = name
        self.value = f"workshop:{target.__name__}"
        self._target = target

    def load(self) -> type:
        return self._target


@pytest.fixture
def plugged_in(monkeypatch: pytest.MonkeyPatch) -> None:
    def points(*, group: str) -> list[Point]:
        assert group == ENTRY_POINTS
        return [Point("timed", FootSwitchGate), Point("foot-switch", FootSwitchGate), Point("door", Person)]

    monkeypatch.setattr(gate_module, "entry_points", points)


@pytest.mark.usefixtures("plugged_in")
def test_a_plug_in_gate_is_found_by_its_kind_and_gets_its_own_options(person: Person) -> None:
    options = ExtensionGateOptions(kind="foot-switch", options={"pin": 4})
    gate = build_gate(options, person.context)
    assert isinstance(gate, FootSwitchGate)
    assert gate.options == {"pin": 4}
    assert gate_kinds() == tuple(sorted([*BUILT_IN, "door", "foot-switch"]))
    with pytest.raises(InputError, match="the foot switch needs a pin"):
        build_gate(ExtensionGateOptions(kind="foot-switch"), person.context)


@pytest.mark.usefixtures("plugged_in")
def test_an_unknown_kind_is_refused_with_the_kinds_known(person: Person) -> None:
    with pytest.raises(InputError, match=r"no gate of kind 'beam'\. Known kinds: command, .*foot-switch, .*, timed"):
        build_gate(ExtensionGateOptions(kind="beam"), person.context)


@pytest.mark.usefixtures("plugged_in")
def test_a_plug_in_takes_no_built_in_kind_away_and_must_be_a_gate(person: Person) -> None:
    options = TimedGateOptions.model_validate({"kind": "timed", "duration": "2.5 s"})
    assert isinstance(build_gate(options, person.context), TimedGate)
    with pytest.raises(InputError, match=r"gate 'door' at workshop:Person is not a Gate"):
        build_gate(ExtensionGateOptions(kind="door"), person.context)


def test_a_plain_source_tree_has_every_built_in_kind(person: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gate_module, "entry_points", lambda *, group: ())
    assert gate_kinds() == BUILT_IN
    context = GateContext(person.clock, person.operator, ("true",))
    job_files: TypeAdapter[Any] = TypeAdapter(AnyGateOptions)
    for kind, options in OPTIONS.items():
        gate = build_gate(job_files.validate_python({"kind": kind, **options}), context)
        assert gate.kind == kind
        gate.release()


def test_the_built_in_kinds_are_those_of_the_package_s_own_entry_points() -> None:
    project = tomllib.loads(Path(__file__).parents[3].joinpath("pyproject.toml").read_text(encoding="utf-8"))
    written = project["project"]["entry-points"][ENTRY_POINTS]
    assert {point.name: point.value for point in gate_module._OWN} == written
    assert tuple(sorted(OPTIONS)) == BUILT_IN == tuple(sorted(written))


def test_an_incomplete_gate_cannot_be_made(person: Person) -> None:
    class Halfway(Gate):
        kind = "halfway"

        @classmethod
        def build(cls, options: Any, context: GateContext) -> "Halfway":
            return cls()

        def open(self, request: PassRequest) -> None:
            pass

    with pytest.raises(TypeError, match="abstract method"):
        Halfway.build(None, person.context)
