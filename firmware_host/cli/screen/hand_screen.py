"""What a person with a hand on the axis sees: one line that is written anew, and sentences above it that stay."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from firmware_host.cli.screen import output
from firmware_host.reporting.machines.hand import key_lines, where_line
from firmware_host.reporting.render.printable import printable
from firmware_host.station.hand.hand import Where
from firmware_host.station.hand.places import Place
from firmware_host.station.hand.session import Screen
from firmware_host.station.hand.steps import Step

_WIDTH = 79  # in the last column many terminals go to the next line


class TerminalScreen(Screen):
    """At standard error, which is a terminal."""

    def __init__(self) -> None:
        self._line = ""

    def where(self, where: Where, step: Step) -> None:
        self._show(where_line(where, step))

    def typing(self, prompt: str, typed: str) -> None:
        self._show(f"{prompt}: {typed}")

    def say(self, text: str) -> None:
        self.leave()
        output.remark(text)

    def keys(self, places: Sequence[Place]) -> None:
        self.leave()
        for line in key_lines(places):
            output.remark(line)

    def leave(self) -> None:
        """Leave the line as it is; what comes next stands below it."""
        if self._line:
            with output.unless_hung_up():
                sys.stderr.write("\n")
                sys.stderr.flush()
        self._line = ""

    def _show(self, line: str) -> None:
        line = printable(line)[:_WIDTH]
        if line == self._line:
            return
        with output.unless_hung_up():
            sys.stderr.write(f"\r{line.ljust(len(self._line))}")
            sys.stderr.flush()
        self._line = line
