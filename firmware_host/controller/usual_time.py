"""How long something usually takes, learned as it happens: an answer on the link at hand, a line on the disk."""

from __future__ import annotations

from collections import deque
from statistics import median

_REMEMBERED = 9


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
