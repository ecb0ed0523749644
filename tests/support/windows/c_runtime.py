"""`msvcrt`: the mode of a descriptor (Microsoft, "_setmode"). Nothing else of it is imitated."""

from __future__ import annotations

from types import ModuleType

from tests.support.windows import files


def stand_in() -> ModuleType:
    made = ModuleType("msvcrt", __doc__)
    vars(made).update(setmode=files.set_mode)
    return made
