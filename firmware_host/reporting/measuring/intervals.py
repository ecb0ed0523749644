"""A value with its interval, as it is shown."""

from __future__ import annotations

import math

from firmware_host.commissioning.estimates import measured
from firmware_host.reporting.measures import Units, number


def give_or_take(value: float, within: float) -> str:
    """A value and half of its interval; the value alone where there is none."""
    return measured.give_or_take(value, within) if 0 < within < math.inf else number(value, 4)


def length_give_or_take(metres: float, within: float, units: Units) -> str:
    """A length and half of its interval (m), in the reader's unit."""
    (value, unit), (half, _) = (units.converted(1e3 * each, "mm") for each in (metres, within))
    return f"{give_or_take(value, half)} {unit}"
