"""A line that harms what passes over it, on demand: bytes lost, changed, late or doubled, in either direction."""

from __future__ import annotations

from collections import Counter, deque
from enum import Enum
from random import Random

from firmware_host.simulator.device import SimulatedDevice
from tests.faults.line.faulty_line import FaultyLine

_NOISE_BYTES = 4
_DIGITS = b"0123456789"


class Toward(Enum):
    """Which way the harmed bytes go."""

    DEVICE = "to the device"
    CLIENT = "to the client"


class Harm(Enum):
    """What happens to a line."""

    DROP = "drop"
    """It is lost, whole or from some byte on."""
    CORRUPT = "corrupt"
    """A bit is turned, a byte is lost, or noise comes in."""
    DELAY = "delay"
    """It comes later, and so does everything behind it."""
    DUPLICATE = "duplicate"
    """It comes twice."""
    MISREAD = "misread"
    """One digit of it is another one."""


class HarmfulLine(FaultyLine):
    """Another device behind a line that can be told to harm the next lines. Nothing else of the device is changed.

    `random` decides on details; the same seed and the same use give the same bytes. Order is kept: nothing overtakes
    a late line. `harmed` counts the lines that were harmed so far.
    """

    def __init__(self, device: SimulatedDevice, random: Random) -> None:
        super().__init__(device)
        self._random = random
        self.harmed: Counter[Harm] = Counter()
        self._due: dict[Toward, deque[tuple[Harm, float]]] = {toward: deque() for toward in Toward}
        self._under_way: dict[Toward, deque[tuple[float, bytes]]] = {toward: deque() for toward in Toward}

    def harm(self, harm: Harm, toward: Toward, *, lines: int = 1, delay_s: float = 0.0) -> None:
        """Harm the next `lines` (> 0) lines that way; `delay_s` (s, >= 0) for `Harm.DELAY`."""
        self._due[toward].extend([(harm, delay_s)] * lines)

    def hang_up(self, now_s: float) -> None:
        """The client has closed its end: what was on the way to it is lost."""
        self._live(now_s)
        self.device.transmit(now_s)
        self._under_way[Toward.CLIENT].clear()

    # --- the device behind it --------------------------------------------------------------------------------

    def receive(self, data: bytes, now_s: float) -> None:
        self._live(now_s)
        self._pass_on(Toward.DEVICE, data, now_s)
        self._live(now_s)

    def transmit(self, now_s: float) -> bytes:
        self._live(now_s)
        self._hear(now_s)
        out, waiting = b"", self._under_way[Toward.CLIENT]
        while waiting and waiting[0][0] <= now_s:
            out += waiting.popleft()[1]
        return out

    def next_event_s(self) -> float | None:
        heads = [waiting[0][0] for waiting in self._under_way.values() if waiting]
        own = self.device.next_event_s()
        return min([*heads, own], default=None) if own is not None else min(heads, default=None)

    def hardware_reset(self, now_s: float) -> None:
        self._live(now_s)
        super().hardware_reset(now_s)

    def client_opened(self, now_s: float) -> bool:
        self._live(now_s)
        return super().client_opened(now_s)

    def steps_at(self, axis: str, now_s: float) -> int:
        self._live(now_s)
        return super().steps_at(axis, now_s)

    def moving_at(self, now_s: float) -> bool:
        self._live(now_s)
        return super().moving_at(now_s)

    def released_at(self, now_s: float) -> bool:
        self._live(now_s)
        return super().released_at(now_s)

    # --- the line --------------------------------------------------------------------------------------------

    def _live(self, now_s: float) -> None:
        """Hand over what reaches the device up to `now_s`, each at its instant."""
        waiting = self._under_way[Toward.DEVICE]
        while waiting and waiting[0][0] <= now_s:
            at_s, data = waiting.popleft()
            self._hear(at_s)
            self.device.receive(data, at_s)

    def _hear(self, now_s: float) -> None:
        for line in self.device.transmit(now_s).splitlines(keepends=True):
            self._pass_on(Toward.CLIENT, line, now_s)

    def _pass_on(self, toward: Toward, data: bytes, now_s: float) -> None:
        due, waiting = self._due[toward], self._under_way[toward]
        arrives_s = max(now_s, waiting[-1][0] if waiting else now_s)
        if due:
            harm, delay_s = due.popleft()
            self.harmed[harm] += 1
            arrives_s += delay_s if harm is Harm.DELAY else 0.0
            data = harmed(data, harm, self._random)
        if data:
            waiting.append((arrives_s, data))


def harmed(data: bytes, harm: Harm, random: Random) -> bytes:
    """What arrives instead of `data` (at least one byte); empty if nothing does."""
    if harm is Harm.DROP:
        return data[: random.randrange(len(data))] if random.random() < 0.5 else b""
    if harm is Harm.CORRUPT:
        return _corrupted(data, random)
    if harm is Harm.DUPLICATE:
        return data * 2
    if harm is Harm.MISREAD:
        return _misread(data, random)
    return data


def _corrupted(data: bytes, random: Random) -> bytes:
    place = random.randrange(len(data))
    how = random.randrange(3)
    if how == 0:
        return data[:place] + bytes([data[place] ^ (1 << random.randrange(8))]) + data[place + 1 :]
    if how == 1:
        return data[:place] + data[place + 1 :]
    return data[:place] + random.randbytes(random.randint(1, _NOISE_BYTES)) + data[place:]


def _misread(data: bytes, random: Random) -> bytes:
    places = [place for place, byte in enumerate(data) if byte in _DIGITS]
    if not places:
        return data
    place = random.choice(places)
    other = random.choice([digit for digit in _DIGITS if digit != data[place]])
    return data[:place] + bytes([other]) + data[place + 1 :]
