"""`msvcrt`: the C runtime's console and descriptors.

Handles are the descriptors themselves, and nobody presses a key unless a test puts it into `keys`.
"""

from __future__ import annotations

from collections import deque
from types import ModuleType

from tests.support.windows import files

#: Keys that a test has "pressed".
keys: deque[str] = deque()


def kbhit() -> bool:
    return bool(keys)


def getwch() -> str:
    return keys.popleft()


def stand_in() -> ModuleType:
    made = ModuleType("msvcrt", __doc__)
    vars(made).update(
        LK_LOCK=1,
        LK_NBLCK=2,
        LK_RLCK=3,
        LK_NBRLCK=4,
        LK_UNLCK=0,
        setmode=files.set_mode,
        get_osfhandle=lambda descriptor: descriptor,
        open_osfhandle=lambda handle, flags: handle,
        kbhit=kbhit,
        getwch=getwch,
    )
    return made
