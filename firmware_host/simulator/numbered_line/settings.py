"""The board's settings by word and letter: kept as 32-bit floats, used at once, stored only when told to."""

from __future__ import annotations

import math
from collections.abc import Iterator, MutableMapping

from firmware_host.simulator.axis.single_precision import single
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant

ABOVE_0 = ("M92 ", "M201 ", "M202 ", "M203 ", "M204 ")


class LineSettings(MutableMapping[str, float]):
    """Settings by name (`"M92 A"`), in steps/unit, units/s and units/s^2, with all the digits that the board holds.

    `stored_once`: whether they were ever stored since the board was delivered. Setting an item raises KeyError for an
    unknown name and ValueError for what the board cannot work with.
    """

    def __init__(self, variant: NumberedLineVariant) -> None:
        self._delivered = variant.initial_settings()
        self._values: dict[str, float] = dict.fromkeys(variant.initial_settings(), 1.0)
        known = NumberedLineVariant(axes=variant.axes, more_settings=variant.more_settings).initial_settings()
        for name, value in self._delivered.items():
            if name not in known:
                raise KeyError(f"this board has no setting {name}")
            self[name] = value
        self._stored = dict(self._values)
        self.stored_once = False

    def __getitem__(self, name: str) -> float:
        return self._values[name]

    def __setitem__(self, name: str, value: float) -> None:
        if name not in self._values:
            raise KeyError(f"this board has no setting {name}")
        stored = single(value)
        if not math.isfinite(stored) or (name.startswith(ABOVE_0) and not stored > 0):
            raise ValueError(f"{name}={value!r}: the board cannot work with this value")
        self._values[name] = stored

    def __delitem__(self, name: str) -> None:
        raise TypeError(f"{name}: a setting can be changed, not removed")

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def letters(self, code: str) -> list[str]:
        """The letters of all settings that the word `code` (`"M92"`) sets."""
        return [name.removeprefix(f"{code} ") for name in self._values if name.startswith(f"{code} ")]

    def stored(self, name: str) -> float:
        """What comes into force with the next reset."""
        return self._stored[name]

    def store(self) -> None:
        """Keep what is in force for after the next reset."""
        self._stored = dict(self._values)
        self.stored_once = True

    def load(self) -> None:
        """Take what was stored."""
        self._values = dict(self._stored)

    def deliver(self) -> None:
        """Take what the board was delivered with; what is stored stays."""
        self.update(self._delivered)
