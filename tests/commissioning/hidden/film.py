"""What a person counts and measures on a film of a swing."""

from __future__ import annotations

import itertools
import random

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.simulator.true_machine.axis import Stop

_FINE = 8
"""So many instants a picture are looked at: a crossing is seen between two pictures, and told by the nearest."""
_MOST = 6
_SEEN = 0.12
"""A sweep is counted while it is so wide, over the first."""
READ_SIZE = 0.05
"""How closely the size of a swing is read, over the first."""


class Film:
    """Of one stop: sweeps from one turning point to the next, counted and timed from middle to middle."""

    def __init__(self, stop: Stop, frames_per_s: float, rng: random.Random) -> None:
        every = 1 / (frames_per_s * _FINE)
        angles = np.array(stop.filmed(every, round(stop.lasts / every)))
        turns = [0, *(np.flatnonzero(np.diff(np.sign(np.diff(angles)))) + 1)]
        sweeps = [_Sweep(angles, here, there) for here, there in itertools.pairwise(turns)]
        seen = next((k for k, each in enumerate(sweeps) if each.width < _SEEN * sweeps[0].width), len(sweeps))
        self.swings = max(min(_MOST, seen - 1), 0) / 2
        self._values = {"swings": self.swings, "frames": 0.0, "first": 0.0, "last": 0.0}
        if self.swings:
            first, last = sweeps[0], sweeps[round(2 * self.swings)]
            took, began = (last.middle - first.middle) * every * frames_per_s, rng.random()
            self._values |= {
                "frames": float(round(began + took) - round(began)),
                "first": 1.0 + rng.uniform(-READ_SIZE, READ_SIZE),
                "last": (last.width / first.width if first.width else 0.0) + rng.uniform(-READ_SIZE, READ_SIZE),
            }

    def read(self, what: str) -> float:
        """A number that is asked for."""
        return self._values[what]


class _Sweep:
    """From one turning point to the next: how wide, and when (in pictures) it passes the middle between them."""

    def __init__(self, angles: FloatArray, here: int, there: int) -> None:
        way = angles[here : there + 1] - (angles[here] + angles[there]) / 2
        self.width = float(abs(angles[there] - angles[here]))
        crossed = int(np.flatnonzero(way[:-1] * way[1:] <= 0)[0]) if self.width else 0
        step = way[crossed] - way[crossed + 1] if self.width else 1.0
        self.middle = here + crossed + float(way[crossed] / step if step else 0.0)
