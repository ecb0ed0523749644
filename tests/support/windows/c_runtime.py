"""`msvcrt`: the mode of a descriptor (Microsoft, "_setmode"), and keys at the console. Nothing else of it is imitated.

A key that prints nothing comes as two codes, the first of them 0 or 224, the second by the next call (Microsoft,
"_getch, _getwch"). The second one is kept meanwhile, by `getch` and `getwch` each in a place of its own, and `kbhit`
looks only into that of `getch` (Universal C Runtime, getch.cpp and getwch.cpp: `getch_pushback_buffer`, `wchbuf`).
Either waits where no key was pressed; that is an error here, since nobody would ever press one.
"""

from __future__ import annotations

from collections import deque
from types import ModuleType

from tests.support.windows import files

#: The second code of keys that print nothing, behind 224 (Universal C Runtime, getch.cpp, `EnhancedKeys`).
SECOND_CODES = {"up": b"H", "down": b"P", "left": b"K", "right": b"M", "home": b"G", "delete": b"S"}


class Console:
    """Keys wait here until they are read; `press` is what a person at the console does."""

    def __init__(self) -> None:
        self._pressed: deque[tuple[bytes, ...]] = deque()
        self._kept: list[bytes] = []
        self._kept_wide: list[bytes] = []

    def press(self, *keys: str, first: bytes = b"\xe0") -> None:
        """Each a character of the console's code page, or the name of a key that prints nothing."""
        for key in keys:
            second = SECOND_CODES.get(key)
            self._pressed.append((key.encode("cp1252"),) if second is None else (first, second))

    def kbhit(self) -> bool:
        return bool(self._kept or self._pressed)

    def getch(self) -> bytes:
        return self._kept.pop() if self._kept else self._next(self._kept)

    def getwch(self) -> str:
        code = self._kept_wide.pop() if self._kept_wide else self._next(self._kept_wide)
        return code.decode("cp1252")

    def _next(self, kept: list[bytes]) -> bytes:
        if not self._pressed:
            raise RuntimeError("the program waits for a key, and nobody is there to press one")
        first, *rest = self._pressed.popleft()
        kept.extend(rest)
        return first


def stand_in() -> ModuleType:
    made = ModuleType("msvcrt", __doc__)
    console = Console()
    calls = {"kbhit": console.kbhit, "getch": console.getch, "getwch": console.getwch}
    vars(made).update(setmode=files.set_mode, console=console, **calls)
    return made
