"""What a person counts and measures on a film of a swing."""

from __future__ import annotations

import itertools
import random

import numpy as np

from firmware_host.simulator.true_machine.axis import Stop

_FINE = 8
"""So many instants a picture are looked at: a crossing is seen between two pictures, and told by the nearest."""
_MOST = 3
_SEEN = 0.12
"""A swing is counted while it is so wide, over the first."""
READ_SIZE = 0.05
"""How closely the size of a swing is read, over the first."""


class Film:
    """Of one stop: whole swings from one crossing of the rest to a later one, the same way."""

    def __init__(self, stop: Stop, frames_per_s: float, rng: random.Random) -> None:
        every = 1 / (frames_per_s * _FINE)
        angles = np.array(stop.filmed(every, round(stop.lasts / every)))
        after = np.flatnonzero((angles[:-1] < 0) & (angles[1:] >= 0))
        times = (after + angles[after] / (angles[after] - angles[after + 1])) * every
        widths = [float(np.ptp(angles[a:b])) for a, b in itertools.pairwise(after)]
        seen = next((k for k, width in enumerate(widths) if width < _SEEN * widths[0]), len(widths))
        self.swings = max(min(_MOST, seen - 1), 0)
        self._values = {"swings": float(self.swings), "frames": 0.0, "first": 0.0, "last": 0.0}
        if self.swings:
            took, began = float(times[self.swings] - times[0]) * frames_per_s, rng.random()
            self._values |= {
                "frames": float(round(began + took) - round(began)),
                "first": 1.0 + rng.uniform(-READ_SIZE, READ_SIZE),
                "last": max(widths[self.swings] / widths[0] + rng.uniform(-READ_SIZE, READ_SIZE), 0.0),
            }

    def read(self, what: str) -> float:
        """A number that is asked for."""
        return self._values[what]
