"""Random values as a file has them: numbers, quantities in mixed units, keys that may be left out."""

from __future__ import annotations

import random
from typing import Any

from tests.independent.values import UNITS

Table = dict[str, Any]


class Draw:
    """One drawn pair; every optional key is there, or some share of them."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.share = self.random.choice([1.0, 1.0, 0.93, 0.6])

    def between(self, low: float, high: float) -> float:
        """Even in its logarithm, to five digits."""
        return float(f"{low * (high / low) ** self.random.random():.5g}")

    def text(self, kind: str, value: float) -> str:
        """A value in SI as a file has it, in a unit drawn from those that give it a plain number."""
        fitting = [(unit, size) for unit, size in UNITS[kind].items() if 1e-3 <= abs(value) / size < 1e6]
        unit, size = self.random.choice(fitting or [min(UNITS[kind].items(), key=lambda pair: pair[1])])
        return f"{value / size:.6g} {unit}"

    def quantity(self, kind: str, low: float, high: float) -> str:
        return self.text(kind, self.between(low, high))

    def there(self) -> bool:
        return self.random.random() < self.share

    def pick(self, *choices: Any) -> Any:
        return self.random.choice(choices)

    def optional(self, table: Table, **values: Any) -> Table:
        """`table` with most of `values`."""
        return table | {key: value for key, value in values.items() if value is not None and self.there()}


def draw_tolerances(draw: Draw, part: Table, *, on_rollers: bool, geared: bool) -> Table:
    """Of what counts for that part and machine."""
    keys = ["torque", "supply_voltage", "friction_torque", "mass_offset", "diameter"]
    keys += ["friction", "rolling_resistance"] if on_rollers else []
    keys += ["efficiency"] if geared else []
    keys.append("inertia" if part["kind"] == "measured" else "mass" if "mass" in part else "density")
    return {key: draw.between(0.01, 0.3) for key in keys if draw.random.random() < 0.25}
