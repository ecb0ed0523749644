"""A device behind a line that loses or damages what passes over it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from firmware_host.simulator.device import Follower, MotionInterval, SimulatedDevice

Damage = Callable[[bytes, float], bytes]
"""From bytes and the instant (s) they pass to the bytes that arrive; empty if they are lost."""


def undamaged(data: bytes, now_s: float) -> bytes:
    """Let everything through."""
    return data


class FaultyLine(SimulatedDevice):
    """Another device whose bytes go through `to_client` one line at a time, and whose input through `to_device` chunk
    by chunk as it arrives. Everything else is the other device's own.
    """

    def __init__(self, device: SimulatedDevice, to_client: Damage = undamaged, to_device: Damage = undamaged) -> None:
        self.device = device
        self.to_client = to_client
        self.to_device = to_device

    def receive(self, data: bytes, now_s: float) -> None:
        self.device.receive(self.to_device(data, now_s), now_s)

    def transmit(self, now_s: float) -> bytes:
        lines = self.device.transmit(now_s).splitlines(keepends=True)
        return b"".join(self.to_client(line, now_s) for line in lines)

    def next_event_s(self) -> float | None:
        return self.device.next_event_s()

    def hardware_reset(self, now_s: float) -> None:
        self.device.hardware_reset(now_s)

    def client_opened(self, now_s: float) -> bool:
        return self.device.client_opened(now_s)

    def steps_at(self, axis: str, now_s: float) -> int:
        return self.device.steps_at(axis, now_s)

    def make_moves_last(self, times: float) -> None:
        self.device.make_moves_last(times)

    def followed_by(self, axis: str, follower: Follower) -> None:
        self.device.followed_by(axis, follower)

    def moving_at(self, now_s: float) -> bool:
        return self.device.moving_at(now_s)

    def released_at(self, now_s: float) -> bool:
        return self.device.released_at(now_s)

    @property
    def motion_log(self) -> Sequence[MotionInterval]:
        return self.device.motion_log
