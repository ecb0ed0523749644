"""The kinds of drive that a machine file knows. A new kind is one more in this union."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from firmware_host.model.machine.drives.chuck import Chuck
from firmware_host.model.machine.drives.rollers import Rollers

AnyDrive = Annotated[Chuck | Rollers, Field(discriminator="kind")]
