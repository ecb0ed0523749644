"""Single keys during a run: hold, stop, skip, repeat; Enter stays the answer to the gate."""

from __future__ import annotations

import sys
import threading
from collections import deque
from collections.abc import Callable
from contextlib import ExitStack
from typing import TextIO

from firmware_host.errors import GateError
from firmware_host.station.operator import Operator
from firmware_host.station.passes.control import RunControl
from firmware_host.system.keys import Keys, single_keys

_LOOK_S = 0.03
HELP = (
    "Enter  the pass is marked, where the gate asks for it",
    "h      hold after this pass, or before the gate opens; h again carries on",
    "s      stop now: the gate closes, the axis stops; the run can be resumed",
    "k      skip what is left of this segment (asked first, recorded)",
    "r      repeat: mark this pass, or the one marked last, once more (recorded)",
    "?      these lines",
)
_HELP_KEY = HELP[-1][0]


class RunKeys(Operator):
    """The person at the terminal: by lines until the passes begin, by single keys from `begin` to `end`.

    The keys become wishes of `control`; Enter becomes an empty line for the gate. Where no single keys can be had,
    everything stays with `plain`, line by line.
    """

    def __init__(self, control: RunControl, plain: Operator, stream: TextIO | None = None) -> None:
        self._control, self._plain = control, plain
        self._stream = stream if stream is not None else sys.stdin
        self._stack = ExitStack()
        self._entered: deque[str] = deque()
        self._keys: Keys | None = None
        self._ended = threading.Event()
        self._asked: int | None = None
        self.holding = False
        """Whether the run holds now, as whoever hears of its state has put in here."""
        self._does: dict[str, Callable[[], None]] = {
            "h": self._hold,
            "s": self._control.stop_now,
            "k": self._skip,
            "r": self._repeat,
            _HELP_KEY: self._help,
        }

    # --- the operator ----------------------------------------------------------------------------------------------

    @property
    def by_key(self) -> bool:
        """Whether single keys are taken now."""
        return self._keys is not None

    @property
    def stopping(self) -> bool:
        """Whether the run was asked to stop."""
        return self._control.stop.reason is not None

    def tell(self, text: str) -> None:
        self._plain.tell(text)

    def answer(self) -> str | None:
        keys = self._keys
        if keys is None:
            return self._plain.answer()
        if self._entered:
            return self._entered.popleft()
        if keys.ended:
            raise GateError("operator", "nobody can answer: the terminal is closed. Run it in a terminal")
        return None

    def forget(self) -> None:
        self._entered.clear()
        if self._keys is None:
            self._plain.forget()

    # --- the keys --------------------------------------------------------------------------------------------------

    def begin(self) -> None:
        """From now on single keys are taken, if somebody can press them here; in the thread that began the program."""
        if self._keys is not None:
            return
        self._keys = self._stack.enter_context(single_keys(self._stream))
        if self._keys is None:
            return
        self._keys.forget()
        self._ended.clear()
        reader = threading.Thread(target=self._read, args=(self._keys,), name="keys", daemon=True)
        reader.start()
        self._stack.callback(reader.join)
        self._stack.callback(self._ended.set)

    def end(self) -> None:
        """The terminal is as it was before; a second call does nothing."""
        self._stack.close()
        self._keys = None

    @property
    def legend(self) -> str:
        """Which keys there are now, in a line; empty where none are taken."""
        if self._keys is None:
            return ""
        if self._asked is not None:
            return f"Skip what is left of segment {self._asked}?  y yes  n no"
        wished = "h carry on" if self.holding else "h do not hold"
        hold = wished if self._control.holds else "h hold after this pass"
        return f"Keys: {hold}  s stop  k skip segment  r repeat pass  ? help"

    def _read(self, keys: Keys) -> None:
        while not self._ended.wait(_LOOK_S):
            try:
                while (key := keys.take()) is not None:
                    self.press(key)
            except OSError:  # the terminal is gone: a signal says so
                return

    def press(self, key: str) -> None:
        """What a key does."""
        key = key.lower()
        if self._asked is not None:
            self._answer_skip(key)
        elif key == "enter":
            self._entered.append("")
        elif key in self._does:
            self._does[key]()

    def _hold(self) -> None:
        if self._control.holds:
            self._control.carry_on()
        else:
            self._control.hold()

    def _repeat(self) -> None:
        found = self._control.repeat_pass()
        if found is None:
            self.tell("There is no pass to repeat yet.")
        else:
            self.tell(f"Segment {found[0]}, pass {found[1]} will be marked once more.")

    def _skip(self) -> None:
        self._asked = self._control.segment
        if self._asked is None:
            self.tell("No segment is left to skip.")
        else:
            self.tell(f"Skip what is left of segment {self._asked}? y or n")

    def _answer_skip(self, key: str) -> None:
        segment, self._asked = self._asked, None
        if key == "y":
            self._control.skip_segment(segment)
        else:
            self.tell(f"Segment {segment} is not skipped.")

    def _help(self) -> None:
        for line in HELP:
            self.tell(line)
