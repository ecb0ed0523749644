"""The text of `units/table.py`, from the definitions; `python -m tests.units.table_text` writes the file anew."""

from __future__ import annotations

from pathlib import Path

import firmware_host.units
from firmware_host.units.registry import usual_sizes

TABLE = Path(firmware_host.units.__file__).with_name("table.py")
DOCSTRING = '''"""Sizes of the usual units of each kind, in the kind's own unit: numerator and denominator.

Worked out by pint from `units.txt` (`registry.usual_sizes`), so that reading a file need not load it. Not written by
hand: a test compares, and tells how to write it anew.
"""'''


def table_text() -> str:
    """The whole file, as ruff formats it."""
    lines = [DOCSTRING, "", "SIZES: dict[str, dict[str, tuple[int, int]]] = {"]
    for kind, sizes in usual_sizes().items():
        lines.append(f'    "{kind}": {{')
        for unit, (above, below) in sizes.items():
            line = f'        "{unit}": ({above}, {below}),'
            lines += (
                [line]
                if len(line) <= 120
                else [f'        "{unit}": (', f"            {above},", f"            {below},", "        ),"]
            )
        lines.append("    },")
    return "\n".join([*lines, "}", ""])


if __name__ == "__main__":
    TABLE.write_text(table_text(), encoding="utf-8")
