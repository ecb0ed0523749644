"""A person at a pseudo-terminal of 80 columns: presses keys, waits for what is shown, and keeps what they saw.

For POSIX systems; the tests that use it are marked so.
"""

from __future__ import annotations

import re
import shlex
from abc import ABC, abstractmethod
from types import TracebackType
from typing import Self

import pexpect

from tests.cli.command import COMMAND, PATIENCE_S, environment

KEYS = {
    **{"left": "\x1b[D", "right": "\x1b[C", "up": "\x1b[A", "down": "\x1b[B"},
    **{"Escape": "\x1b", "Enter": "\r", "Ctrl-C": "\x03"},
}
_MOVING = re.compile(r"^(TURNING|MOVING)\b")


class AtTerminal(ABC):
    """A command at a terminal of `rows` and `columns`, and the transcript of the session: keys in brackets, below each
    what stood there then.
    """

    def __init__(self, *arguments: str, rows: int = 24, columns: int = 80) -> None:
        self.transcript = [shlex.join(["$", "circumstep", *arguments]).replace("'$'", "$")]
        program, *rest = COMMAND
        self._spawned = pexpect.spawn(
            program,
            [*rest, *arguments],
            env=environment() | {"TERM": "xterm", "COLUMNS": str(columns)},  # type: ignore[arg-type]
            encoding="utf-8",
            dimensions=(rows, columns),
            timeout=PATIENCE_S / 2,
        )

    @abstractmethod
    def wait(self, pattern: str) -> None:
        """Wait until `pattern` is shown; what was shown until then goes to the transcript."""

    @abstractmethod
    def see_the_end(self) -> None:
        """Wait until nothing more is shown; what was shown until then goes to the transcript."""

    def press(self, *keys: str, until: str = "") -> None:
        """Press keys, each by its name or the sign on it; `until` as in `wait`."""
        self.transcript.append(f"[{' '.join(keys)}]")
        for key in keys:
            self._spawned.send(KEYS.get(key, key))
        if until:
            self.wait(until)

    def end(self) -> int:
        """Wait for its end; its exit status."""
        self.see_the_end()
        self._spawned.close()
        if self._spawned.exitstatus is None:
            raise AssertionError(f"ended by signal {self._spawned.signalstatus}")
        return int(self._spawned.exitstatus)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._spawned.close(force=True)


class Terminal(AtTerminal):
    """Of a line that is written anew again and again only how it stood at the end of each wait is kept."""

    def wait(self, pattern: str) -> None:
        self._spawned.expect(pattern)
        self.transcript += _seen(f"{self._spawned.before}{self._spawned.after}")

    def see_the_end(self) -> None:
        self._spawned.expect(pexpect.EOF)
        self.transcript += _seen(self._spawned.before or "")


def _seen(text: str) -> list[str]:
    """The lines as they stand at the end; one that was written anew as it was last, but not while anything moved."""
    lines = []
    for line in re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", text).replace("\r\n", "\n").split("\n"):
        versions = [version.rstrip() for version in line.split("\r")]
        lasting = [version for version in versions if version and not _MOVING.match(version)]
        lines += lasting[-1:]
    return lines
