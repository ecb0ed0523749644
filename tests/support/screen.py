"""A person at a pseudo-terminal whose last lines are drawn anew again and again: what stands on the screen, and when.

For POSIX systems; the tests that use it are marked so.
"""

from __future__ import annotations

import re

import pexpect
import pyte

from tests.cli.command import PATIENCE_S
from tests.support.terminal import AtTerminal

_ROWS = 200
"""So many that nothing is ever scrolled away."""
_SAME = 3
"""So many readings in a row have to show the same for it to count as settled."""
_BOTTOM = re.compile(r"^(STILL|TURNING)\b")


class Screen(AtTerminal):
    """What was told since the last wait is kept, and what stands at the bottom then.

    How long something takes is put into words in capitals.
    """

    def __init__(self, *arguments: str, columns: int = 80) -> None:
        super().__init__(*arguments, rows=_ROWS, columns=columns)
        self._shown = pyte.Screen(columns, _ROWS)
        self._stream = pyte.Stream(self._shown)
        self._told = 0

    def wait(self, pattern: str) -> None:
        """Wait until `pattern` stands on the screen, and the screen stays as it is."""
        before, same = "", 0
        while same < _SAME:
            self._stream.feed(self._spawned.read_nonblocking(4096, timeout=PATIENCE_S))
            now = self._text()
            same = same + 1 if now == before and re.search(pattern, now) else 0
            before = now
        self._keep()

    def see_the_end(self) -> None:
        try:
            while True:
                self._stream.feed(self._spawned.read_nonblocking(4096, timeout=PATIENCE_S))
        except pexpect.EOF:
            self._keep()

    def _keep(self) -> None:
        lines = self._text().split("\n")
        bottom = next((at for at, line in enumerate(lines) if at >= self._told and _BOTTOM.match(line)), len(lines))
        self.transcript += lines[self._told :]
        self._told = bottom

    def _text(self) -> str:
        text = "\n".join(line.rstrip() for line in self._shown.display).rstrip()
        text = re.sub(r"about [\d a-z]+? left", "about TIME left", text)
        return re.sub(r"done at [A-Za-z\d: ]*\d", "done at TIME OF DAY", text)
