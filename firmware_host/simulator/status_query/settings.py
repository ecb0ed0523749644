"""The board's stored settings: kept as 32-bit floats, printed with three decimals."""

from __future__ import annotations

import math
from collections.abc import Iterator, MutableMapping

from firmware_host.simulator.axis.single_precision import single
from firmware_host.simulator.status_query.refusal import RefusedLineError
from firmware_host.simulator.status_query.variant import StatusQueryVariant

WHOLE_NUMBERS = frozenset(f"${n}" for n in (0, 1, 2, 3, 4, 5, 6, 10, 13, 20, 21, 22, 23, 26, 32))
SHORTEST_PULSE_US = 3


class SettingsStore(MutableMapping[str, float]):
    """Settings by name (`"$103"`), with all the digits that the board holds, not only those that it prints.

    Setting an item is what a test does behind the board's back: no check but that the name exists (KeyError) and that
    the board could work with the value (ValueError). `write` is what a line on the wire does.
    """

    def __init__(self, variant: StatusQueryVariant) -> None:
        initial = variant.initial_settings()
        self._known = frozenset(initial)
        self._fixed = variant.fixed_settings
        self._speech, self._zero_scale = variant.speech, variant.ways.zero_scale
        self._below_zero = frozenset(name for name, value in initial.items() if value < 0)
        self.unit_writes = 0
        self._scale_decimals = variant.scale_decimals
        self._values: dict[str, float] = {}
        for name, value in initial.items():
            self[name] = value

    def __getitem__(self, name: str) -> float:
        return self._values[name]

    def __setitem__(self, name: str, value: float) -> None:
        if name not in self._known:
            raise KeyError(f"this board has no setting {name}")
        if not self._usable(name, value):
            raise ValueError(f"{name}={value!r}: the board cannot work with this value")
        self._values[name] = float(int(value)) if self._whole(name) else single(value)

    def __delitem__(self, name: str) -> None:
        raise TypeError(f"{name}: a stored setting can be changed, not removed")

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def write(self, name: str, value: float) -> None:
        """Store a value received on the wire; raises RefusedLineError for an unknown name or an impossible value."""
        if name not in self._known:
            raise RefusedLineError(self._speech.unknown_setting)
        if not self._usable(name, value):
            raise RefusedLineError(4)
        if name == "$0" and value < SHORTEST_PULSE_US:
            raise RefusedLineError(6)
        if name == "$20" and value and not self["$22"]:
            raise RefusedLineError(10)
        if name in self._fixed:
            if self._fixed[name] == "refused":
                raise RefusedLineError(3)
            return
        self[name] = value
        self.unit_writes += name == "$13"
        if name == "$22" and not value:
            self["$20"] = 0

    def lines(self) -> list[str]:
        """The printed form, `$N=value`, in ascending order of N."""
        ordered = sorted(self._values, key=lambda name: int(name[1:]))
        return [f"{name}={self._printed(name)}" for name in ordered]

    def _printed(self, name: str) -> str:
        if self._whole(name):
            return str(int(self[name]))
        if name in self._speech.decimals:
            return f"{self[name]:.{self._speech.decimals[name]}f}"
        return f"{self[name]:.{self._scale_decimals if 100 <= int(name[1:]) < 110 else 3}f}"

    def per_axis(self, base: int, index: int) -> float:
        """The setting of an axis: base 100 steps/unit, 110 units/min, 120 units/s^2, 130 travel in units."""
        return self[f"${base + index}"]

    def _whole(self, name: str) -> bool:
        decimals = self._speech.decimals
        return decimals[name] == 0 if name in decimals else name in WHOLE_NUMBERS

    def _usable(self, name: str, value: float) -> bool:
        number = int(name[1:])
        stored = single(value)
        if not math.isfinite(stored) or (stored < 0 and name not in self._below_zero):
            return False
        needed = 110 <= number < 130 or number in (24, 25) or (100 <= number < 110 and not self._zero_scale)
        return stored > 0 or not needed
