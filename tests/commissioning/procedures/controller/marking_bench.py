"""A bench whose job has a gate of its own, with a marking side at its other end that answers after a drawn time."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.planning.by_hand import hand_on_job
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.marking import MarkingSide
from tests.commissioning.hidden.hands import bench_of
from tests.support.hand_bench import BENCHES, hand_on
from tests.support.station_bench import StationBench, changed_setup


class Lines:
    """RTS out says mark, CTS in says done after `delay` s, as long as it is marked; both may be broken."""

    def __init__(self, clock: VirtualClock, rng: random.Random, mean: float, spread: float) -> None:
        self._clock, self._rng, self._mean, self._spread = clock, rng, mean, spread
        self.switched: list[tuple[float, bool]] = []
        self.delays: list[float] = []
        self.answers, self.stops = True, False
        self.cts_by_hand = False

    @property
    def is_open(self) -> bool:
        return bool(self.switched) and self.switched[-1][1]

    def set_line(self, line: OutputLine, on: bool) -> None:
        assert line is OutputLine.RTS
        if on and not self.is_open:
            self.delays.append(max(self._rng.gauss(self._mean, self._spread), 0.05))
        self.switched.append((self._clock.monotonic(), on))

    def line(self, line: InputLine) -> bool:
        if line is InputLine.DCD:
            return self.stops
        marked = self.is_open and self._clock.monotonic() - self.switched[-1][0] >= self.delays[-1]
        return self.answers and (marked or self.cts_by_hand)


@dataclass
class Watcher(Person):
    """Says what stands in `says` by the beginning of a key, else the first choice; sees whether the gate is open."""

    hand: Hand
    lines: Lines | None = None
    says: dict[str, str] = field(default_factory=dict)
    stops_at: str = "-"
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    open_when: dict[str, bool] = field(default_factory=dict)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def answer(self, ask: Ask) -> Answer:
        if ask.key.startswith(self.stops_at):
            raise KeyboardInterrupt("went home")
        self.asked.append(ask.key or "confirm")
        said = next((text for key, text in self.says.items() if (ask.key or "confirm").startswith(key)), ask.choices[0])
        if self.lines is not None:
            self.open_when[ask.key] = self.lines.is_open
            if said == "yes":
                self._switch(self.lines, ask.key)
        self.hand.wait(1.0)
        return said

    def _switch(self, lines: Lines, key: str) -> None:
        """What the person does at the marking side, as they are asked."""
        if key.endswith("-CTS"):
            lines.cts_by_hand = key.startswith("switch")
        elif key.endswith("-DCD"):
            lines.stops = key.startswith("switch")


MODEM = {"kind": "modem-lines", "timeout": "10 s"}


@dataclass
class Gated:
    """A bench with a job's gate, and what was measured on it."""

    bench: StationBench
    lines: Lines
    tmp_path: Path

    @contextmanager
    def hand(self) -> Iterator[Hand]:
        with hand_on(self.bench, hand_on_job(self.bench.setup), MarkingSide(folder=self.tmp_path)) as hand:
            yield hand

    def measure(self, hand: Hand, procedure: str, person: Person, **wish: Any) -> tuple[Finding, ...]:
        with Record(self.tmp_path / "kept.jsonl", "m", self.bench.clock) as record:
            return carry_out(procedure_named(procedure), bench_of(hand, procedure, **wish), hand, person, record)

    def nothing_turned(self) -> None:
        """The board's own record of its pulses."""
        assert len(self.bench.device.motion_log) == self.bench.motion_before


def gated(
    tmp_path: Path,
    gate: dict[str, Any] = MODEM,
    *,
    board: str = "status-query",
    mean: float = 0.8,
    spread: float = 0.1,
    seed: int = 1,
    job: str = "shaft-scale",
) -> Gated:
    """The bench; its port has the modem lines of `Lines`."""
    bench = BENCHES[board](tmp_path, changed_setup(job, gate=gate))
    lines = Lines(bench.clock, random.Random(seed), mean, spread)
    bench.port.set_line, bench.port.line = lines.set_line, lines.line  # type: ignore[method-assign]
    return Gated(bench, lines, tmp_path)
