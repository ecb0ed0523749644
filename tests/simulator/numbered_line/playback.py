"""A recording played to a simulated board: the same is sent after the same times, both answers lie side by side."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from firmware_host.simulator import NumberedLineDevice, NumberedLineVariant
from tests.simulator.numbered_line.recording import Exchange

LONGEST_S = 30.0
BY_ITSELF = re.compile(r"wait|(echo:)?busy: ?processing")


@dataclass(frozen=True)
class Played:
    """One exchange with what the simulated board said to it; `pulses` are its own, `standing` whether it stood then."""

    recorded: Exchange
    said: tuple[str, ...]
    pulses: tuple[int, int]
    standing: bool


def plain(said: Sequence[str]) -> list[str]:
    """What was said without what comes by itself at its own time, and each repeat of a request only once."""
    lines = [re.sub(r"crc \d+", "crc", line.rstrip()) for line in said if not BY_ITSELF.fullmatch(line)]
    kept: list[str] = []
    for line in lines:
        kept.append(line)
        if len(kept) >= 6 and kept[-3:] == kept[-6:-3] and kept[-3] == "" and kept[-2].startswith("Resend"):
            del kept[-3:]
    return kept


class Player:
    """Plays exchanges; `axis` is the one that the rig counted."""

    def __init__(self, variant: NumberedLineVariant, axis: str = "X") -> None:
        self.variant, self.axis = variant, axis
        self.device = NumberedLineDevice(variant)
        self.now_s = self._shift_s = 0.0
        self._zero = (0, 0)

    def play(self, exchanges: Sequence[Exchange]) -> Iterator[Played]:
        """Play them one after the other, each as long after the one before as in the recording, or longer."""
        for index, exchange in enumerate(exchanges):
            yield self.one(exchange, exchanges[index + 1] if index + 1 < len(exchanges) else None)

    def one(self, exchange: Exchange, following: Exchange | None) -> Played:
        """Play one, and wait for what is said until the following one is due, or until as much is said as recorded."""
        self.now_s = max(self.now_s, exchange.at_s + self._shift_s)
        self._shift_s = self.now_s - exchange.at_s
        if exchange.zeroed:
            self._zero = self._travelled()
        if exchange.fresh:
            self.device = NumberedLineDevice(self.variant, self.now_s)
            self._zero = (0, 0)
        elif exchange.sent is None:
            self.device.client_opened(self.now_s)
            self.device.transmit(self.now_s)
        else:
            self.device.receive(exchange.sent.encode() + (b"\n" if exchange.ends else b""), self.now_s)
        end_s = self.now_s + 5.0 if following is None else following.at_s + self._shift_s
        said = self._listen(end_s)
        wanted = len(plain(exchange.said))
        latest_s = self.now_s + LONGEST_S
        while len(plain(_lines(said))) < wanted and (event_s := self.device.next_event_s()) and event_s < latest_s:
            said += self._listen(event_s)
        net, total = self._travelled()
        pulses = (net - self._zero[0], total - self._zero[1])
        return Played(exchange, _lines(said), pulses, not self.device.moving_at(self.now_s))

    def _listen(self, end_s: float) -> bytes:
        self.now_s = max(self.now_s, end_s)
        return self.device.transmit(self.now_s)

    def _travelled(self) -> tuple[int, int]:
        """Steps of the motor: net, and all of them."""
        net, last, total = self.device.steps_at(self.axis, self.now_s), 0, 0
        for interval in self.device.motion_log:
            if interval.axis == self.axis:
                total += abs(interval.to_steps - interval.from_steps)
                last = interval.to_steps
        return net, total + abs(net - last)


def _lines(said: bytes) -> tuple[str, ...]:
    return tuple(said.decode().splitlines())
