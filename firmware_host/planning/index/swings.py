"""What the moves of a job do to a load at a motion: how far it swings and how long it rings, each looked at once."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.peaks import largest_peaks
from firmware_host.planning.index.ringing import half_microstep
from firmware_host.planning.index.timing import IndexTiming, index_timing
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.load.case import LoadCase


@dataclass(frozen=True, slots=True, eq=False)
class MoveSwings:
    """The exact answers of one load and its moves, remembered for as long as one plan is made.

    Motions are part rad/s^2 and rad/s, > 0. A speed that no move reaches is the same motion as one just reached.
    """

    load: LoadCase
    moves: IndexMoves
    check: Check = never
    _peaks: dict[tuple[float, float], tuple[float, float]] = field(default_factory=dict)
    _timings: dict[tuple[float, float], IndexTiming] = field(default_factory=dict)

    def peaks(self, acceleration: float, speed: float) -> tuple[float, float]:
        """See `peaks.largest_peaks`."""
        key = self._key(acceleration, speed)
        if key not in self._peaks:
            self._peaks[key] = largest_peaks(self.load, self.moves, acceleration, speed, self.check)
        return self._peaks[key]

    def timing(self, acceleration: float, speed: float) -> IndexTiming:
        """See `timing.index_timing`."""
        key = self._key(acceleration, speed)
        if key not in self._timings:
            self._timings[key] = index_timing(self.load, self.moves, acceleration, speed, self.check)
        return self._timings[key]

    def _key(self, acceleration: float, speed: float) -> tuple[float, float]:
        return acceleration, min(speed, math.sqrt(acceleration * self.moves.longest_of_all))


@dataclass(frozen=True, slots=True, eq=False)
class SwingsByLoad:
    """The swings of some moves for several loads; those that swing alike are looked at once."""

    moves: IndexMoves
    check: Check = never
    _known: list[MoveSwings] = field(default_factory=list)

    def of(self, load: LoadCase) -> MoveSwings:
        """Those of `load`."""
        for each in self._known:
            if _swinging(each.load) == _swinging(load):
                return each
        self._known.append(MoveSwings(load, self.moves, self.check))
        return self._known[-1]


def _swinging(load: LoadCase) -> tuple[object, ...]:
    """All that a swing depends on."""
    return load.natural_band, load.damping, load.torsion, load.start, half_microstep(load)
