"""What a board says beside `ok`: the common words, and what a build that talks otherwise has to replace."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from firmware_host.simulator.numbered_line.board import NumberedBoard
from firmware_host.simulator.numbered_line.numbering import NumberedCommand
from firmware_host.simulator.numbered_line.reports import (
    capability_lines,
    listing_lines,
    position_line,
    setting_line,
    settings_lines,
)
from firmware_host.simulator.numbered_line.words import Command, printable

HALT_WORDS: Mapping[str, str] = MappingProxyType(
    {"error": "Error:Printer halted", "bangs": "!!", "fatal": "fatal:halted"}
)


class Speech:
    """The words of one board, all from what it holds at the moment."""

    busy = "echo:busy: processing"

    def __init__(self, board: NumberedBoard) -> None:
        self._board = board

    def greeting(self) -> Iterable[str]:
        """What follows `start`."""
        return ("echo:simulated board",)

    def last_words(self) -> Iterable[str]:
        """What is said at a halt."""
        return (HALT_WORDS[self._board.variant.halt_style],)

    def echo(self, line: NumberedCommand) -> Iterable[str]:
        """What is said of a line before it is acknowledged."""
        return ()

    def accepted(self, line: NumberedCommand) -> str:
        """The acknowledgement."""
        board, fields = self._board, []
        for name in board.variant.ok_fields:
            if name == "N" and line.number is not None:
                fields.append(f" N{line.number}")
            elif name == "P":
                fields.append(f" P{board.variant.planner_blocks - len(board.kernel)}")
            elif name == "B":
                fields.append(f" B{board.variant.command_lines - len(board.lines)}")
        return "ok" + "".join(fields)

    def unknown(self, line: NumberedCommand, command: Command) -> str:
        """The answer to a word that the board doesn't know."""
        return f'echo:Unknown command: "{printable(line.text)}"'

    def refused(self, reason: str) -> Iterable[str]:
        """The answer to a line that can't be carried out."""
        return (f"Error:{reason}",)

    def setting(self, code: str) -> Iterable[str]:
        """The answer to the word of a setting alone."""
        return (
            (f"echo: {setting_line(self._board, code)}",) if self._board.variant.settings_report == "M503 echo" else ()
        )

    def report(self, command: Command) -> Iterable[str] | None:
        """The answer to a question; None if the word is none."""
        listed = self._board.variant.settings_report
        match command.code:
            case "M114":
                return (position_line(self._board),)
            case "M115":
                return capability_lines(self._board)
            case "M205":
                return listing_lines(self._board) if listed == "EPR after M205" else ()
            case "M503" if listed != "none":
                return settings_lines(self._board) if listed == "M503 echo" else ()
        return None

    def done(self, command: Command) -> Iterable[str]:
        """What a word prints once it has been carried out."""
        return ("echo:Settings Stored",) if command.code == "M500" else ()

    def out_of_bounds(self) -> Iterable[str]:
        """What a move refused because of the axis' bounds prints."""
        return ()
