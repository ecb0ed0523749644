"""How far readings of one thing scatter, with the interval of that: few readings know it badly themselves."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence

from firmware_host.commissioning.estimates.measured import Measured, of_limits
from firmware_host.commissioning.estimates.sensible import require_readings
from firmware_host.errors import FormulaRangeError

#: Degrees of freedom, and between which two values chi-square lies in 95 of 100 cases, 2.5 beyond each end: as in
#: the tables of the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4 (from memory; checked against SciPy).
_CHI2 = (
    (1, 0.00098207, 5.0239), (2, 0.050636, 7.3778), (3, 0.2158, 9.3484), (4, 0.48442, 11.143), (5, 0.83121, 12.833),
    (6, 1.2373, 14.449), (7, 1.6899, 16.013), (8, 2.1797, 17.535), (9, 2.7004, 19.023), (10, 3.247, 20.483),
    (11, 3.8157, 21.92), (12, 4.4038, 23.337), (13, 5.0088, 24.736), (14, 5.6287, 26.119), (15, 6.2621, 27.488),
    (16, 6.9077, 28.845), (17, 7.5642, 30.191), (18, 8.2307, 31.526), (19, 8.9065, 32.852), (20, 9.5908, 34.17),
    (21, 10.283, 35.479), (22, 10.982, 36.781), (23, 11.689, 38.076), (24, 12.401, 39.364), (25, 13.12, 40.646),
    (26, 13.844, 41.923), (27, 14.573, 43.195), (28, 15.308, 44.461), (29, 16.047, 45.722), (30, 16.791, 46.979),
)  # fmt: skip


def spread_of(readings: Sequence[float], within: float) -> Measured:
    """The standard deviation of what is read, n >= 2 times, by an instrument that is right to `within` (>= 0).

    s^2 = sum((x - mean)^2)/(n - 1) (JCGM 100:2008, 4.2.2); (n - 1) s^2/sigma^2 follows chi-square with n - 1 degrees,
    which gives the interval's ends; the instrument's own part, within^2/3 (4.3.7), is taken off all three. What
    scatters less than the instrument can show may do so by as much as that. The standard uncertainty is
    s/sqrt(2(n - 1)) (annex E.4.3).
    """
    count = len(readings)
    if count < 2:
        raise FormulaRangeError("readings", count, "", 2, "Take at least two")
    require_readings(readings)
    freedom = count - 1
    mean = math.fsum(readings) / count
    squares = math.fsum((each - mean) ** 2 for each in readings)
    low, high = _chi_square(freedom)
    own = of_limits(within) ** 2
    value, lowest, highest = (
        math.sqrt(max(each - own, 0.0)) for each in (squares / freedom, squares / high, squares / low)
    )
    deviation = math.sqrt(squares / freedom) / math.sqrt(2 * freedom)
    return Measured(value, deviation, freedom, (lowest, max(highest, of_limits(within))))


def _chi_square(freedom: int) -> tuple[float, float]:
    """Both ends; beyond the table by Wilson and Hilferty's cube (1931), right to a thousandth there."""
    place = bisect_right(_CHI2, (freedom, math.inf, math.inf)) - 1
    if _CHI2[place][0] == freedom:
        return _CHI2[place][1:]
    third = 2 / (9 * freedom)
    low, high = (freedom * (1 - third + sign * 1.959964 * math.sqrt(third)) ** 3 for sign in (-1, 1))
    return low, high
