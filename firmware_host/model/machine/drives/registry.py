"""The kinds of drive that a machine file knows. A new kind is one more in this union."""

from __future__ import annotations

from typing import Annotated

from firmware_host.model.by_kind import ByKind
from firmware_host.model.machine.drives.chuck import Chuck
from firmware_host.model.machine.drives.rollers import Rollers

AnyDrive = Annotated[Chuck | Rollers, ByKind(Chuck, Rollers)]
