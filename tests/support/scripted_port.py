"""A port that plays a script: these bytes must be written next, and this comes back, so many seconds later."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.port import Port
from firmware_host.errors import PortLostError


@dataclass(frozen=True)
class Step:
    """`expected` is the next write, to the byte; `answers` come `after_s` seconds later, in the given portions."""

    expected: bytes
    answers: tuple[bytes, ...]
    after_s: float


class ScriptedPort(Port):
    """Fails the test at once when anything else is written than the script says."""

    def __init__(self, clock: VirtualClock, url: str = "script://port") -> None:
        self.url = url
        self.clock = clock
        self.written: list[bytes] = []
        self.closed = 0
        self.lost = False
        self._script: deque[Step] = deque()
        self._coming: list[tuple[float, int, bytes]] = []
        self._count = 0

    def expect(self, expected: bytes, *answers: bytes, after_s: float = 0.003) -> None:
        """Add a step to the script."""
        self._script.append(Step(expected, answers, after_s))

    def say(self, data: bytes, after_s: float = 0.0) -> None:
        """Let `data` arrive `after_s` seconds from now, unasked."""
        self._count += 1
        self._coming.append((self.clock.monotonic() + after_s, self._count, data))
        self._coming.sort()

    @property
    def done(self) -> bool:
        """True if the whole script has been played."""
        return not self._script

    def write(self, data: bytes) -> None:
        if self.lost or self.closed:
            raise PortLostError(self.url, "gone")
        assert self._script, f"wrote {data!r} where the script has ended"
        step = self._script.popleft()
        assert data == step.expected, f"wrote {data!r} where the script has {step.expected!r}"
        self.written.append(data)
        for answer in step.answers:
            self.say(answer, step.after_s)

    def read(self, timeout_s: float) -> bytes:
        if self.lost or self.closed:
            raise PortLostError(self.url, "gone")
        deadline_s = self.clock.monotonic() + timeout_s
        if not self._coming or self._coming[0][0] > deadline_s:
            self.clock.advance_to(deadline_s)
            return b""
        at_s, _, data = self._coming.pop(0)
        self.clock.advance_to(at_s)
        return data

    def close(self) -> None:
        self.closed += 1
