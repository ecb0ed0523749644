"""Boards whose settings are written and brought back while something fails, and what they truly have at the end."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import reduce
from operator import xor
from pathlib import Path
from typing import Any, NamedTuple

from firmware_host.clock import VirtualClock
from firmware_host.controller.controller import Controller
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.stored_settings import IN_FORCE_BEFORE, STORED_BEFORE, SettingsLeft
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.recorded import RECORDED as NUMBERED_RECORDED
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.recorded import RECORDED as STATUS_RECORDED
from firmware_host.station.stop_request import StopRequest
from tests.support.bench import Bench
from tests.support.memory_port import MemoryPort

_PER_MINUTE = "/min"
_NUMBERED = re.compile(rb"N(\d+) (.*)\*\d+\n", re.DOTALL)
_NOT_THERE = {True: b"M9999", False: b"$999=1\n"}
RAISED = "M207 Z"
"""Of another axis: one board raises it by itself when it loads it, and stores that with the next storing."""
SILENT_S = 3.0


@dataclass(frozen=True)
class ToldBoard:
    """A board, the settings that one act writes and those that another does."""

    make: Callable[[], Bench[Any]]
    first: Mapping[str, str]
    second: Mapping[str, str]


def _status(name: str, axis: str, settings: Mapping[str, float]) -> Callable[[], Bench[Any]]:
    board = STATUS_RECORDED[name]

    def make() -> Bench[Any]:
        return _bench(StatusQueryDevice(replace(board, settings={**board.settings, **settings})), axis)

    return make


def _numbered(name: str, axis: str, settings: Mapping[str, float]) -> Callable[[], Bench[Any]]:
    board = NUMBERED_RECORDED[name]

    def make() -> Bench[Any]:
        return _bench(NumberedLineDevice(replace(board, settings={**board.settings, **settings})), axis)

    return make


def _bench(device: Any, axis: str) -> Bench[Any]:
    clock = VirtualClock()
    numbered = isinstance(device, NumberedLineDevice)
    dialect: Dialect = NumberedLineDialect() if numbered else StatusQueryDialect()
    return Bench(clock, device, MemoryPort(device, clock), MemoryTrace(clock), dialect, axis)


BOARDS: Mapping[str, ToldBoard] = {
    "status-query-a": ToldBoard(
        _status("status-query-a", "X", {"$100": 26.667, "$120": 300.0, "$1": 25}),
        {"$100": "50", "$120": "400.5", "$110": "3000", "$1": "255"},
        {"$100": "26.668", "$120": "77"},
    ),
    "status-query-b": ToldBoard(
        _status("status-query-b", "A", {}),
        {"$103": "26.667", "$20": "0", "$22": "0", "$123": "321.125"},
        {"$22": "1", "$20": "1", "$103": "50"},
    ),
    "status-query-c": ToldBoard(
        _status("status-query-c", "A", {"$103": 80 / 3}),
        {"$103": "26.667", "$123": "100.25", "$113": "2000"},
        {"$103": "26.668"},
    ),
    "numbered-line-a": ToldBoard(
        _numbered("numbered-line-a", "X", {}),
        {"M92 X": "26.667", "M202 X": "500.5", "M203 X/min": "6000"},
        {"M92 X": "50", "M201 X": "77.5", "M203 X/min": "61.250"},
    ),
    "numbered-line-b": ToldBoard(
        _numbered("numbered-line-b", "X", {}),
        {"M92 X": "26.667", "M201 X": "500", "M203 X/min": "3000"},
        {"M92 X": "26.668", "M201 X": "77"},
    ),
}


class Truth(NamedTuple):
    """What is in force and what is stored, by the keys that a program sees."""

    in_force: Mapping[str, float]
    stored: Mapping[str, float]


def truth(b: Bench[Any], keys: Mapping[str, str]) -> Truth:
    """What the board has of `keys`, as it holds it."""
    device = b.device

    def of(key: str, stored: bool) -> float:
        own = key.removesuffix(_PER_MINUTE)
        value = device._board.settings.stored(own) if stored else device.settings[own]
        return float(value) * (60 if key.endswith(_PER_MINUTE) else 1)

    numbered = isinstance(device, NumberedLineDevice)
    return Truth({key: of(key, False) for key in keys}, {key: of(key, numbered) for key in keys})


def is_near(key: str, value: float, text: str) -> bool:
    """Whether the board prints `value` as `text`, or was sent `text` for it; a rate was rounded in its own unit."""
    digit = 0.51 * 10.0 ** -len(text.partition(".")[2])
    room = 60 * digit + 0.06 if key.endswith(_PER_MINUTE) else digit
    return abs(value - float(text)) <= min(room, 0.5) + abs(value) * 2e-6


def require_told(left: SettingsLeft | None, before: Truth, now: Truth) -> None:
    """Each setting is one of those that were told, and as before where nothing was told of it."""
    for told, first, has in (
        (left.in_force if left else None, IN_FORCE_BEFORE, now.in_force),
        (left.stored if left else None, STORED_BEFORE, now.stored),
    ):
        for key, value in has.items():
            if key == RAISED:
                continue
            known = {IN_FORCE_BEFORE: before.in_force[key], STORED_BEFORE: before.stored[key]}
            texts = told(key) if told else frozenset({first})
            fitting = [known[text] == value if text in known else is_near(key, value, text) for text in texts]
            assert any(fitting), (key, value, known, sorted(texts), str(left))


class Fault(NamedTuple):
    """What happens at one write to the port; `heals`: the line is there again afterwards."""

    name: str
    heals: bool


FAULTS = (
    Fault("cable pulled before it arrives", False),
    Fault("cable pulled when it has arrived", False),
    Fault("never arrives, nor what follows", False),
    Fault("reset before it arrives", True),
    Fault("reset when it has arrived", True),
    Fault("power lost for a while", True),
    Fault("refused", True),
    Fault("answer lost", True),
    Fault("a stop is asked for", True),
)


@dataclass
class Faulty:
    """Lets `fault` happen at the `at`-th write from now on; `happened` once it has."""

    b: Bench[Any]
    fault: Fault
    at: int
    stop: StopRequest
    happened: bool = False
    dead: bool = False
    until_s: float = field(default=-1.0)

    def __post_init__(self) -> None:
        self.count = 0
        self.arrives = self.b.device.receive
        self.says = self.b.port.spoil
        setattr(self.b.device, "receive", self.receive)  # noqa: B010 - the test's own way between port and board

    def heal(self) -> None:
        """The line is as it was before."""
        setattr(self.b.device, "receive", self.arrives)  # noqa: B010
        self.b.port.spoil = self.says
        self.b.port.lost = False
        self.b.run(SILENT_S + 2.0)

    def receive(self, data: bytes, now_s: float) -> None:
        if self.dead or now_s < self.until_s:
            return
        place, self.count = self.count, self.count + 1
        if place != self.at:
            self.arrives(data, now_s)
            return
        self.happened = True
        for act in self._acts(data, now_s):
            act()

    def _acts(self, data: bytes, now_s: float) -> Iterator[Callable[[], object]]:
        name, device = self.fault.name, self.b.device
        if name.endswith("has arrived") or name in ("answer lost", "a stop is asked for"):
            yield lambda: self.arrives(data, now_s)
        if name == "refused":
            yield lambda: self.arrives(_not_there(data), now_s)
        if name.startswith("cable"):
            yield self.b.port.pull_cable
        if name.startswith("never"):
            yield lambda: setattr(self, "dead", True)
        if name.startswith("reset"):
            yield lambda: device.hardware_reset(now_s)
        if name.startswith("reset before"):
            yield lambda: self.arrives(data, now_s)
        if name.startswith("power"):
            yield lambda: device.hardware_reset(now_s)
            yield lambda: setattr(self, "until_s", now_s + SILENT_S)
        if name.startswith("a stop"):
            yield lambda: self.stop.ask("Ctrl-C")
        if name == "answer lost":
            yield self._lose_one_answer

    def _lose_one_answer(self) -> None:
        def spoil(data: bytes) -> bytes:
            if data:
                self.b.port.spoil = self.says
            return b""

        self.b.port.spoil = spoil


def _not_there(data: bytes) -> bytes:
    """A line that the board does not know, in the place of `data`; what isn't a line stays."""
    match = _NUMBERED.fullmatch(data)
    if match:
        text = b"N%s %s" % (match[1], _NOT_THERE[True])
        return b"%s*%d\n" % (text, reduce(xor, text))
    return _NOT_THERE[False] if data.endswith(b"\n") and len(data) > 1 else data


def acts(board: ToldBoard, folder: Path) -> Mapping[str, Callable[[Controller], object]]:
    """What can be done to the settings; `restore` brings back what was there before the first `write`."""
    numbers = iter(range(1000))

    def writing(changes: Mapping[str, str], name: str = "") -> Callable[[Controller], object]:
        return lambda controller: controller.write_settings(changes, backup=folder / (name or f"{next(numbers)}.json"))

    return {
        "write": writing(board.first, "first.json"),
        "write again": writing(board.first),
        "write others": writing(board.second),
        "restore": lambda controller: controller.restore_settings(folder / "first.json"),
    }
