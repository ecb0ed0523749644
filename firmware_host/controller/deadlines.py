"""Deadlines for what is asked of a controller (s), and how long something usually takes."""

from __future__ import annotations

from collections import deque
from statistics import median

ANSWER_S = 2.0
"""The answer to a line that starts nothing."""
STORE_S = 5.0
"""The answer to a line that stores."""
STATUS_S = 1.0
"""A status report; it takes 4 ms."""
STATUS_LEAST_S = 0.05
"""A report asked for just before some other deadline is still waited for so long."""
ANSWER_LEAST_S = 0.004
"""No quicker are reports asked for one after the other: a real board's own time, so that none is flooded."""
ANSWER_MOST_S = 0.1
"""A report that usually takes longer is not asked for so long beforehand."""
POLL_S = 0.01
"""Pause between two reports that must agree."""
GREETING_S = 3.0
"""A greeting after opening or a reset: boards take 1 to 2 s. Common practice, no source."""
STANDSTILL_S = 10.0
"""Waiting for motion that is already under way to end."""
STOP_S = 10.0
"""Waiting for the axis to stand still after a stop."""
HOME_S = 180.0
"""Seeking the home switch."""
_REMEMBERED = 9
"""So many of the last times are learned from."""


class UsualTime:
    """The median of late, so that once in a while much longer changes nothing; never below `least_s` or above `most_s`.

    It is `least_s` as long as nothing has been learned. All in s.
    """

    def __init__(self, least_s: float, most_s: float) -> None:
        self._least_s, self._most_s = least_s, most_s
        self._taken_s: deque[float] = deque(maxlen=_REMEMBERED)

    def note(self, taken_s: float) -> None:
        """Learn that it took `taken_s` (s) this time."""
        self._taken_s.append(taken_s)

    @property
    def usual_s(self) -> float:
        """How long it takes (s)."""
        return min(max(median(self._taken_s), self._least_s), self._most_s) if self._taken_s else self._least_s
