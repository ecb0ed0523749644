"""Frequency and damping of an axis that swings about its rest after a stop, from swings that were counted and timed.

Logarithmic decrement: S. S. Rao, Mechanical Vibrations, 5th ed., section 2.6.3 (from memory); the swing lasts longer
where it is wide as a pendulum's does, for the motor's torque goes with the sine: ibid., section 13.3 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firmware_host.commissioning.estimates.measured import Measured, combined, mean_of, of_limits
from firmware_host.commissioning.estimates.sensible import require_readings, require_sizes
from firmware_host.errors import FormulaRangeError

CLOCK = 0.002
"""How well a camera's rate of frames, or another clock, is known: plus-minus a part of it (no source)."""
SEEN_TO = 0.05
"""How closely the size of a swing is read, as a part of the first one's, plus-minus (no source)."""


@dataclass(frozen=True)
class Counted:
    """`swings` whole swings that took `time` (s), both > 0; sizes of the `first` and the `last` one, 0 if not seen."""

    swings: float
    time: float
    first: float = 0.0
    last: float = 0.0

    def __post_init__(self) -> None:
        require_sizes(swings=self.swings, time_of_the_swings=self.time)
        require_readings((self.first, self.last), "size of a swing")

    @property
    def decrement(self) -> float | None:
        """ln(swing/next swing to the same side); None where the sizes were not seen, or don't get less."""
        return math.log(self.first / self.last) / self.swings if 0 < self.last < self.first else None


def damped_frequency(counted: Sequence[Counted], within: float) -> Measured:
    """Swings per second (Hz): 1 over the mean time of a swing.

    Type A from the scatter of the times (at least one). Type B: beginning and end are each seen to `within` (s, >= 0,
    plus-minus), anew each time; and the clock's own rate.
    """
    period = mean_of([each.time / each.swings for each in counted], 0.0)
    ends = [math.sqrt(2) * of_limits(within) / each.swings for each in counted]
    period = period.no_better_than(math.hypot(*ends) / len(ends))
    period = combined(period.value, [(1.0, period), (period.value, Measured(0.0, of_limits(CLOCK)))])
    return Measured(1 / period.value, period.deviation / period.value**2, period.freedom)


def damping_ratio(counted: Sequence[Counted]) -> Measured | None:
    """delta/sqrt(4 pi^2 + delta^2), delta the mean logarithmic decrement; None where none was seen."""
    seen = [(each, decrement) for each in counted if (decrement := each.decrement) is not None]
    if not seen:
        return None
    delta = mean_of([decrement for _, decrement in seen], 0.0)
    sizes = [of_limits(SEEN_TO) * math.hypot(1, each.first / each.last) / each.swings for each, _ in seen]
    delta = delta.no_better_than(math.hypot(*sizes) / len(sizes))
    root = math.hypot(2 * math.pi, delta.value)
    return Measured(delta.value / root, delta.deviation * (2 * math.pi) ** 2 / root**3, delta.freedom)


def natural_frequency(damped: Measured, damping: Measured, swing: float, swings: float) -> Measured:
    """The frequency (Hz) of a small undamped swing: damped/sqrt(1 - zeta^2), more by how wide the swings were.

    `swing`: the widest swing to one side, as an angle of the motor's torque curve (rad, a full step is pi/2, < pi/2);
    its square falls by exp(-4 pi zeta) each of the `swings`. A wide one takes 1 + swing^2/16 times as long; how wide it
    was is known to its half.
    """
    decay = 4 * math.pi * damping.value * swings
    wide = swing**2 / 16 * (-math.expm1(-decay) / decay if decay > 0 else 1.0)
    root = math.sqrt(1 - damping.value**2)
    value = damped.value / root * (1 + wide)
    return combined(
        value,
        [
            (value / damped.value, damped),
            (value * damping.value / root**2, damping),
            (value, Measured(0.0, of_limits(wide / 2))),
        ],
    )


def decay_rate(settle: Sequence[float], waviness: Sequence[float], within: float) -> Measured:
    """How quickly it dies away, zeta w (1/s): slope of -ln(waviness) of marks begun so long after the stop (s).

    At least three settle times; `waviness` (m, > 0) each to `within` (m). Least squares weighted by how well each
    logarithm is known. Raises `FormulaRangeError` for fewer or for a mark without waves.
    """
    count = len(settle)
    if count < 3 or len(waviness) != count or max(settle) == min(settle) or min(waviness) <= 0:
        raise FormulaRangeError("marks with waves", count, "", 3, "Mark at three settle times or more, waves in each")
    require_readings((*settle, *waviness), "size of the waves")
    weights = [(each / max(of_limits(within), 1e-12)) ** 2 for each in waviness]
    whole = math.fsum(weights)
    middle = math.fsum(weight * time for weight, time in zip(weights, settle, strict=True)) / whole
    logs = [math.log(each) for each in waviness]
    level = math.fsum(weight * log for weight, log in zip(weights, logs, strict=True)) / whole
    spread = math.fsum(weight * (time - middle) ** 2 for weight, time in zip(weights, settle, strict=True))
    slope = math.fsum(w * (t - middle) * (y - level) for w, t, y in zip(weights, settle, logs, strict=True)) / spread
    rest = math.fsum(
        w * (y - level - slope * (t - middle)) ** 2 for w, t, y in zip(weights, settle, logs, strict=True)
    ) / (count - 2)
    return Measured(-slope, math.sqrt(rest / spread), count - 2).no_better_than(1 / math.sqrt(spread))
