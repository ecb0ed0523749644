"""Lines to a simulated board that do what lines do: tear, merge, lose, double, delay and garble."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

from firmware_host.clock import VirtualClock
from firmware_host.simulator.device import SimulatedDevice
from tests.support.memory_port import MemoryPort

NOISE = b"\xff\x00{}~\r\n"
_LINGER_S = 0.02

Harm = Literal["drop", "double", "late", "garble", "noise"]


class TornPort(MemoryPort):
    """Hands out what the board says in pieces of `size` bytes."""

    def __init__(self, device: SimulatedDevice, clock: VirtualClock, size: int) -> None:
        super().__init__(device, clock)
        self._size = size
        self._kept = b""

    def read(self, timeout_s: float) -> bytes:
        if not self._kept:
            self._kept = super().read(timeout_s)
        data, self._kept = self._kept[: self._size], self._kept[self._size :]
        return data


class MergingPort(MemoryPort):
    """Hands out at once all that the board says until it is silent for 20 ms."""

    def read(self, timeout_s: float) -> bytes:
        data = whole = super().read(timeout_s)
        while data:
            data = super().read(_LINGER_S)
            whole += data
        return whole


class LineHarm:
    """A `spoil` that does `harms[n]` to the n-th line (from 0) which the board says; `delay_s` is for late ones."""

    def __init__(self, clock: VirtualClock, harms: Mapping[int, Harm], delay_s: float = 0.7) -> None:
        self._clock = clock
        self._harms = harms
        self._delay_s = delay_s
        self._rest = b""
        self._late: list[tuple[float, bytes]] = []
        self.count = 0
        """Lines heard so far."""
        self.done = 0
        """Lines harmed so far."""

    def __call__(self, data: bytes) -> bytes:
        now_s = self._clock.monotonic()
        out = b"".join(line for at_s, line in self._late if at_s <= now_s)
        self._late = [(at_s, line) for at_s, line in self._late if at_s > now_s]
        *lines, self._rest = (self._rest + data).split(b"\n")
        for line in lines:
            out += self._harmed(line + b"\n")
            self.count += 1
        return out

    def _harmed(self, line: bytes) -> bytes:
        harm = self._harms.get(self.count)
        if harm is None:
            return line
        self.done += 1
        if harm == "late":
            self._late.append((self._clock.monotonic() + self._delay_s, line))
        changed: dict[Harm, Callable[[], bytes]] = {
            "drop": lambda: b"",
            "late": lambda: b"",
            "double": lambda: line + line,
            "garble": lambda: bytes([line[0] ^ 0x80]) + line[1:],
            "noise": lambda: NOISE + line,
        }
        return changed[harm]()
