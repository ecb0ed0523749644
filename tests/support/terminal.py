"""A person at a pseudo-terminal of 80 columns: presses keys, waits for what is shown, and keeps what they saw.

For POSIX systems; the tests that use it are marked so.
"""

from __future__ import annotations

import re
import shlex
from types import TracebackType
from typing import Self

import pexpect

from tests.cli.command import COMMAND, PATIENCE_S, environment

KEYS = {
    **{"left": "\x1b[D", "right": "\x1b[C", "up": "\x1b[A", "down": "\x1b[B"},
    **{"Escape": "\x1b", "Enter": "\r", "Ctrl-C": "\x03"},
}
_MOVING = re.compile(r"^(TURNING|MOVING)\b")


class Terminal:
    """A command at a terminal, and the transcript of the session: keys in brackets, below each what stood there then.

    Of a line that is written anew again and again only how it stood at the end of each wait is kept.
    """

    def __init__(self, *arguments: str, columns: int = 80) -> None:
        self.transcript = [shlex.join(["$", "circumstep", *arguments]).replace("'$'", "$")]
        program, *rest = COMMAND
        self._spawned = pexpect.spawn(
            program,
            [*rest, *arguments],
            env=environment() | {"TERM": "xterm", "COLUMNS": str(columns)},  # type: ignore[arg-type]
            encoding="utf-8",
            dimensions=(24, columns),
            timeout=PATIENCE_S / 2,
            echo=True,
        )

    def wait(self, pattern: str) -> str:
        """Wait until `pattern` is shown; what was shown until then goes to the transcript, and is returned."""
        self._spawned.expect(pattern)
        shown = _seen(f"{self._spawned.before}{self._spawned.after}")
        self.transcript += shown
        return "\n".join(shown)

    def press(self, *keys: str, until: str = "") -> str:
        """Press keys, each by its name or the sign on it; `until` as in `wait`."""
        for key in keys:
            self._spawned.send(KEYS.get(key, key))
        self.transcript.append(f"[{' '.join(keys)}]")
        return self.wait(until) if until else ""

    def end(self) -> int:
        """Wait for its end; its exit status."""
        self._spawned.expect(pexpect.EOF)
        self.transcript += _seen(self._spawned.before or "")
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


def _seen(text: str) -> list[str]:
    """The lines as they stand at the end; one that was written anew as it was last, but not while anything moved."""
    lines = []
    for line in re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", text).replace("\r\n", "\n").split("\n"):
        versions = [version.rstrip() for version in line.split("\r")]
        lasting = [version for version in versions if version and not _MOVING.match(version)]
        lines += lasting[-1:]
    return lines
