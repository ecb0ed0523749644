"""What a procedure has found: a value with its uncertainty, what it means, and what to write in the file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from firmware_host.acts import Act
from firmware_host.commissioning.estimates.measured import Measured

Verdict = Literal["as stated", "change", "told"]
"""The file says so; the file says otherwise; no file says it."""


@dataclass(frozen=True)
class Change:
    """`value` to write in the machine's file, or the job's, at `key` (dotted; an item of a list by its name)."""

    key: str
    value: str | int | float | bool
    file: Literal["machine", "job"] = "machine"


@dataclass(frozen=True)
class Finding:
    """`measured` in `unit` (of the trade: deg, mm, or none for a share). `formula`: how it came from the readings.

    `sentence`: what it means for the person; `change`: what to write, None where nothing is to be written.
    """

    key: str
    name: str
    measured: Measured
    unit: str
    formula: str
    verdict: Verdict
    sentence: str
    change: Change | None = None
    also: tuple[Change, ...] = ()
    """What belongs to `change` and is written with it in one go: how well it is known, with what it was measured."""
    seen: str = ""
    """What was seen, in a word, where nothing was read with an uncertainty: yes, no, clockwise."""
    planned: tuple[float, float] | None = None
    """What the plan reckoned with before this was measured, from the lowest to the highest; None where it doesn't."""
    acts: tuple[Act, ...] = ()
    """What can be done about it with the program itself."""
