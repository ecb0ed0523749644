"""A simulated board of the dialect `numbered-line` on the bench: its time is moved by hand."""

from __future__ import annotations

import functools
import operator
import re
from dataclasses import replace
from typing import Any

from firmware_host.simulator import NumberedLineDevice, NumberedLineVariant

POSITION = re.compile(r"(.*) Count (.*)")


def numbered(number: int, words: str) -> str:
    """`N<n> <words>*<checksum>`, the checksum being the XOR of all bytes before the asterisk (wire description)."""
    text = f"N{number} {words}"
    return f"{text}*{functools.reduce(operator.xor, text.encode('latin-1'), 0)}"


class NumberedBench:
    """`settings` are the board's settings, further keywords are fields of the variant."""

    def __init__(self, settings: dict[str, float] | None = None, **fields: Any) -> None:
        variant = replace(NumberedLineVariant(settings=settings or {}), **fields)
        self.device = NumberedLineDevice(variant)
        self.now_s = 0.0
        self.number = 0
        self.greeting = self.wait(variant.boot_loss_s)

    def write(self, data: str | bytes) -> None:
        self.device.receive(data.encode("latin-1") if isinstance(data, str) else data, self.now_s)

    def wait(self, duration_s: float) -> list[str]:
        self.now_s += duration_s
        return self.device.transmit(self.now_s).decode().splitlines()

    def ask(self, words: str, duration_s: float = 0.1) -> list[str]:
        """Send a line with the next number and return all that is said within `duration_s`."""
        self.number += 1
        self.write(numbered(self.number, words) + "\n")
        return self.wait(duration_s)

    def rest(self, most_s: float = 1e7) -> list[str]:
        """Let time pass until nothing happens any more, or until the motors stand after `most_s`."""
        said: list[str] = []
        end_s = self.now_s + most_s
        while (event_s := self.device.next_event_s()) is not None and event_s <= end_s:
            self.now_s = max(self.now_s, event_s)
            said += self.device.transmit(self.now_s).decode().splitlines()
        return said

    def run(self, *lines: str) -> list[str]:
        """Send lines one at a time, each with its number, letting everything come to its end in between."""
        said: list[str] = []
        for words in lines:
            said += self.ask(words, 0.0)
            said += self.rest()
        return said

    def report(self) -> tuple[dict[str, float], dict[str, int]]:
        """Position (units) and step counts as reported now."""
        (line,) = [line for line in self.ask("M114") if line.startswith("X:")]
        match = POSITION.fullmatch(line)
        assert match is not None
        position, counts = (dict(field.split(":") for field in part.split()) for part in match.groups())
        return {axis: float(text) for axis, text in position.items()}, {axis: int(n) for axis, n in counts.items()}

    def steps(self, axis: str = "A") -> int:
        return self.device.steps_at(axis, self.now_s)

    def moving(self) -> bool:
        return self.device.moving_at(self.now_s)

    def released(self) -> bool:
        return self.device.released_at(self.now_s)

    def last_step_s(self) -> float:
        return self.device.motion_log[-1].end_s
