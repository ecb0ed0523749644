"""A simulated board on the bench: its time is moved by hand, what it says is collected."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from firmware_host.simulator import StatusQueryDevice, StatusQueryVariant


class Bench:
    """`settings` are the board's stored settings, further keywords are fields of the variant."""

    def __init__(self, settings: dict[str, float] | None = None, **fields: Any) -> None:
        variant = replace(StatusQueryVariant(settings=settings or {}), **fields)
        self.device = StatusQueryDevice(variant)
        self.now_s = 0.0
        self.events = 0
        self.greeting = self.device.transmit(0.0)

    def write(self, data: str | bytes) -> None:
        self.device.receive(data.encode("latin-1") if isinstance(data, str) else data, self.now_s)

    def wait(self, duration_s: float) -> list[str]:
        self.now_s += duration_s
        return self.device.transmit(self.now_s).decode().splitlines()

    def ask(self, line: str, duration_s: float = 0.1) -> list[str]:
        """Send a line and return all that is said within `duration_s`."""
        self.write(line + "\n")
        return self.wait(duration_s)

    def settle(self) -> list[str]:
        """Let everything under way come to its end; `events` counts the instants at which the board did something."""
        said: list[str] = []
        while (event_s := self.device.next_event_s()) is not None:
            self.events += 1
            self.now_s = max(self.now_s, event_s)
            said += self.device.transmit(self.now_s).decode().splitlines()
        return said

    def run(self, *lines: str) -> list[str]:
        """Send lines one at a time, letting everything come to its end in between."""
        said: list[str] = []
        for line in lines:
            self.write(line + "\n")
            said += self.settle()
        return said

    def status(self) -> str:
        """The state word and position as reported now."""
        self.write("?")
        (report,) = self.wait(0.004)
        return report

    def state(self) -> str:
        return self.status()[1:].split("|")[0]

    def position(self, axis: str = "A") -> float:
        fields = dict(field.split(":", 1) for field in self.status()[1:-1].split("|")[1:])
        values = fields.get("MPos", fields.get("WPos", "")).split(",")
        return float(values[self.device.variant.axes.index(axis)])

    def steps(self, axis: str = "A") -> int:
        return self.device.steps_at(axis, self.now_s)

    def last_step_s(self) -> float:
        return self.device.motion_log[-1].end_s
