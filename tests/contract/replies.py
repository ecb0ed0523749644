"""Boards that say anything: random bytes after an honest beginning, and real transcripts that were tampered with."""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Sequence

from firmware_host.clock import VirtualClock
from firmware_host.controller.controller import Controller
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import Trace, TraceKind
from firmware_host.errors import FirmwareHostError, PortLostError
from firmware_host.simulator.device import SimulatedDevice
from tests.contract.rig import rig
from tests.contract.spoken import STEPS_PER_UNIT, Case
from tests.support.memory_port import MemoryPort

PORTION_S = 0.01
ENDLESS_S = 0.005
Transcript = list[bytes]
"""What a board said: before the first write, after it, after the second, and so on."""


class NoTrace(Trace):
    """Forgets: what a real trace keeps is on a disk."""

    def record(self, kind: TraceKind, data: bytes) -> None:
        pass


class TurncoatPort(MemoryPort):
    """An honest board until `babble` is given: then one portion of that every 10 ms, and then it is gone."""

    babble: deque[bytes] | None = None

    def read(self, timeout_s: float) -> bytes:
        if self.babble is None:
            return super().read(timeout_s)
        self._check()
        if not self.babble:
            raise PortLostError(self.url, "has said all")
        if timeout_s < PORTION_S:
            self.clock.sleep(timeout_s)
            return b""
        self.clock.sleep(PORTION_S)
        return self.babble.popleft()


class EndlessPort(MemoryPort):
    """An honest board until `words` is given: then that every 5 ms, for ever: a read never finds nothing."""

    words: bytes = b""

    def read(self, timeout_s: float) -> bytes:
        if not self.words:
            return super().read(timeout_s)
        self._check()
        self.clock.sleep(ENDLESS_S)
        return self.words


class RecordingPort(MemoryPort):
    """Keeps a transcript."""

    def __init__(self, device: SimulatedDevice, clock: VirtualClock) -> None:
        super().__init__(device, clock)
        self.transcript: Transcript = [b""]

    def write(self, data: bytes) -> None:
        super().write(data)
        self.transcript.append(b"")

    def read(self, timeout_s: float) -> bytes:
        data = super().read(timeout_s)
        self.transcript[-1] += data
        return data


class ReplayPort(Port):
    """Says a transcript: each write releases the next part of it. Gone when all has been said."""

    def __init__(self, clock: VirtualClock, transcript: Sequence[bytes]) -> None:
        self.url = "memory://replay"
        self.clock = clock
        self.closed = False
        self._parts = deque(transcript)
        self._said = self._parts.popleft() if self._parts else b""

    def write(self, data: bytes) -> None:
        self._check()
        if self._parts:
            self._said += self._parts.popleft()

    def read(self, timeout_s: float) -> bytes:
        self._check()
        if not self._said:
            self.clock.sleep(timeout_s)
            return b""
        self.clock.sleep(min(timeout_s, 0.003))
        data, self._said = self._said, b""
        return data

    def close(self) -> None:
        self.closed = True

    def _check(self) -> None:
        if self.closed or not (self._said or self._parts):
            raise PortLostError(self.url, "has said all")


def random_act(controller: Controller, chance: random.Random) -> None:
    """Something that a caller might do."""
    chance.choice(
        [
            controller.status,
            controller.prepare,
            controller.unlock,
            controller.watch,
            controller.read_settings,
            controller.clear_offset,
            controller.stop,
            lambda: controller.home(20.0),
            lambda: controller.move_to("1.5", "600"),
            lambda: controller.wait_for_standstill(
                target_steps=150,
                steps_per_unit=STEPS_PER_UNIT,
                accepted_at_s=controller.clock.monotonic(),
                planned_duration_s=0.1,
                deadline_s=controller.clock.monotonic() + 5.0,
            ),
        ]
    )()


def act_on(controller: Controller, chance: random.Random, *, most: int = 200) -> int:
    """Do things until the port is gone; how many were done. Nothing but our own errors may come of it."""
    for done in range(most):
        try:
            random_act(controller, chance)
        except PortLostError:
            return done + 1
        except FirmwareHostError:
            controller.clock.sleep(0.02)
    return most


def babble_at(case: Case, portions: Sequence[bytes], chance: random.Random) -> int:
    """An honest opening, a move under way, then babble; how many things were done meanwhile."""
    r = rig(case, TurncoatPort)
    r.trace = NoTrace()  # type: ignore[assignment]
    controller = r.ready()
    r.move(100)
    assert isinstance(r.port, TurncoatPort)
    r.port.babble = deque(portions)
    done = 0
    while r.port.babble:
        done += act_on(controller, chance)
    return done


def transcript_of(case: Case) -> Transcript:
    """What a board says in a real job."""
    r = rig(case, RecordingPort)
    r.outcome()
    assert isinstance(r.port, RecordingPort)
    return r.port.transcript


def kinds_of_lines(case: Case) -> list[bytes]:
    """One line of each kind that a board says in a real job, by its first three letters; and endless noise."""
    said = b"".join(transcript_of(case)).splitlines(keepends=True)
    return [*{line[:3]: line for line in said if line.strip()}.values(), b"\xff" * 57]


def replay(case: Case, transcript: Sequence[bytes], chance: random.Random) -> bool:
    """Run the job against a transcript, then do things until it ends; whether the job got past its opening."""
    clock = VirtualClock()
    r = rig(case)
    r.clock, r.observed = clock, False
    r.port, r.trace = ReplayPort(clock, transcript), NoTrace()  # type: ignore[assignment]
    reached: list[str] = []
    try:
        r.job(reached.append)
    except FirmwareHostError:
        clock.sleep(0.01)
    if r.controller is not None:
        act_on(r.controller, chance)
    return "ready" in reached


def tampered(transcript: Sequence[bytes], chance: random.Random) -> Transcript:
    """The transcript with lines lost, doubled, swapped or torn, with changed bytes, or with noise between."""
    lines = [(part, line) for part, said in enumerate(transcript) for line in said.splitlines(keepends=True)]
    for _ in range(chance.randint(1, 8)):
        place = chance.randrange(len(lines))
        part, line = lines[place]
        kind = chance.randrange(6)
        if kind == 0:
            lines[place] = (part, b"")
        elif kind == 1:
            lines[place] = (part, line * chance.randint(2, 3))
        elif kind == 2:
            lines[place] = (part, lines[chance.randrange(len(lines))][1])
        elif kind == 3 and line:
            where = chance.randrange(len(line))
            lines[place] = (part, line[:where] + chance.randbytes(1) + line[where + 1 :])
        elif kind == 4:
            lines[place] = (part, line[: chance.randint(0, len(line))])
        else:
            lines[place] = (part, chance.randbytes(chance.randint(1, 40)) + line)
    out = [b""] * len(transcript)
    for part, line in lines:
        out[part] += line
    return out
