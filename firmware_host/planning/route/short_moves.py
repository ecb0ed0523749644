"""Moves that are too short: some controllers don't make them and say nothing, so the axis goes past and comes back.

A move of fewer than s microsteps is replaced by two: to a place 2s - 1 microsteps beside the target, and from there to
it. Both are at least s long, whichever side the axis comes from.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firmware_host.planning.steps import Steps

MOST_SHORTEST = 6
"""Microsteps: the longest of the shortest moves that a measured controller makes."""


def detour(shortest: int) -> int:
    """So far beside its target (microsteps) a move that is too short goes; 0 where every move is made."""
    return 2 * shortest - 1 if shortest > 1 else 0


def too_short(deltas: Steps, shortest: int) -> NDArray[np.bool_]:
    """Which moves (microsteps, shape (n,)) the controller would not make; none to where the axis stands is one."""
    return np.asarray((deltas != 0) & (np.abs(deltas) < shortest))


def beside(targets: Steps, shortest: int, floor: int | None) -> Steps:
    """Where the detours to `targets` (shape (n,)) turn back: below, or above where that were below `floor`."""
    below = targets - np.int64(detour(shortest))
    return below if floor is None else np.where(below < floor, targets + np.int64(detour(shortest)), below)


def long_enough(deltas: Steps, overrun: int, shortest: int) -> Steps:
    """How far below each target to begin a take-up, for moves by `deltas` (shape (n,)) with an `overrun`.

    It is the overrun, and a detour more where the way there would be too short.
    """
    short = too_short(deltas - np.int64(overrun), shortest)
    return np.where(short, np.int64(overrun + detour(shortest)), np.int64(overrun))
