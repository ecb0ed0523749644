"""A board behind a pseudo-terminal at another line speed than the port: what comes is what a UART makes of it.

A pseudo-terminal has no line, and carries every byte unchanged; but it keeps the speed that the port was opened at.
What goes through is written out bit by bit at the sender's speed and sampled at the receiver's: a start bit, eight data
bits with the least significant first, a stop bit (the asynchronous frame of every UART's data sheet, from memory).
"""

from __future__ import annotations

import termios
from pathlib import Path

from firmware_host.clock import Clock
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.serving.pty_server import PtyServer

SPEEDS = {getattr(termios, f"B{rate}"): rate for rate in (9600, 19200, 38400, 57600, 115200, 230400)}
_OUTPUT_SPEED = 5
_IDLE_BITS = 12
_UNUSUAL = 250_000
"""The speed that has no name there."""


def received(data: bytes, sent_at: int, read_at: int) -> bytes:
    """What a receiver at `read_at` bit/s takes for the bytes that are sent without a pause at `sent_at` bit/s."""
    bits = [bit for byte in data for bit in (0, *((byte >> place) & 1 for place in range(8)), 1)] + [1] * _IDLE_BITS
    taken, place, ratio = bytearray(), 0.0, sent_at / read_at

    def level(at: float) -> int:
        return bits[int(at)] if at < len(bits) else 1

    while place < len(bits):
        if level(place):  # idle: on to the next edge
            place = int(place) + 1.0
            continue
        taken.append(sum(level(place + (1.5 + bit) * ratio) << bit for bit in range(8)))
        place += 9.5 * ratio
    return bytes(taken)


class OtherSpeed(PtyServer):
    """Understands, and is understood, only where the port is opened at `baud`."""

    def __init__(self, device: SimulatedDevice, clock: Clock, link: Path, baud: int) -> None:
        super().__init__(device, clock, link)
        self._baud = baud

    def _opened_at(self) -> int:
        return SPEEDS.get(termios.tcgetattr(self._slave)[_OUTPUT_SPEED], _UNUSUAL)

    def _take(self) -> bytes:
        return received(super()._take(), self._opened_at(), self._baud)

    def _write(self, data: bytes) -> int:
        super()._write(received(data, self._baud, self._opened_at()))
        return len(data)
