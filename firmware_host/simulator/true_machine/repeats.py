"""Many moves at once: one move of each of many machines, any number of times, and the full steps that are lost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import repeat
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.simulator.device import Stretch
from firmware_host.simulator.true_machine.field import field_of
from firmware_host.simulator.true_machine.integrate import State, advance, coefficients, of_many
from firmware_host.simulator.true_machine.rotor import Rotor

_LANES = 20_000
"""So many moves are made at a time: their numbers stay in a processor's cache."""
_TIMES_OUT = 3.0
"""Time constants that a rotor is given after the move to be caught by a pole."""


class _Fields(NamedTuple):
    """Of many machines, each in its own steps of time: shape (steps, machines, 1); `ends`: rad, (machines, 1)."""

    places: FloatArray
    speeds: FloatArray
    peaks: FloatArray
    ends: FloatArray


def lost_steps(rotors: Sequence[Rotor], moves: Sequence[Sequence[Stretch]], starts: FloatArray) -> NDArray[np.int64]:
    """Full steps lost, shape (machines, repeats): a move without a pause for each machine, made so many times.

    Each repeat begins at a standstill where friction has left it: `starts`, of that shape, -1 to 1, is the torque that
    holds it off its place over the most that friction holds, > 0 ahead. 0: none lost, else a multiple of four, negative
    where it ran ahead.
    """
    each = max(1, _LANES // starts.shape[1])
    parts = [
        _lost(rotors[first : first + each], moves[first : first + each], starts[first : first + each])
        for first in range(0, len(rotors), each)
    ]
    return np.concatenate(parts)


def _lost(rotors: Sequence[Rotor], moves: Sequence[Sequence[Stretch]], starts: FloatArray) -> NDArray[np.int64]:
    fields = [field_of(move, rotor.step) for rotor, move in zip(rotors, moves, strict=True)]
    of = of_many([coefficients(rotor, field.step) for rotor, field in zip(rotors, fields, strict=True)])
    laid = _laid_out(rotors, [(f.places * r.pulse, f.rates * r.pulse) for r, f in zip(rotors, fields, strict=True)])
    standing = np.array([[rotor.standing_torque] for rotor in rotors])
    pulled = starts * np.minimum(of.friction, standing)
    began = np.array([[move[0].base * rotor.pulse] for rotor, move in zip(rotors, moves, strict=True)])
    start = began + np.arcsin(pulled / standing) / of.teeth
    state = State(start, start + pulled / of.spring, np.zeros(start.shape), np.zeros(start.shape))
    state = advance(state, zip(laid.places, laid.speeds, laid.peaks, strict=True), of, many=True)
    out = _steps_out(rotors, fields[0].step if len(fields) == 1 else float(of.step.min()))
    state = advance(state, repeat((laid.ends, 0.0, standing), out), of, many=True)
    behind = (laid.ends - np.asarray(state.rotor)) * of.teeth / (2 * math.pi)
    return np.asarray(4 * np.rint(behind).astype(np.int64))


def _steps_out(rotors: Sequence[Rotor], step: float) -> int:
    swings = [rotor.swing() for rotor in rotors]
    return math.ceil(_TIMES_OUT / (2 * math.pi * min(f * d for f, d in swings)) / step)


def _laid_out(rotors: Sequence[Rotor], fields: list[tuple[FloatArray, FloatArray]]) -> _Fields:
    """All of them as long as the longest: a field that has come to its end stands there."""
    count = max(len(places) for places, _ in fields)
    places = np.array([np.pad(each, (0, count - len(each)), mode="edge") for each, _ in fields]).T
    speeds = np.array([np.pad(each, (0, count - len(each))) for _, each in fields]).T
    peaks = np.array([rotor.peak(row) for rotor, row in zip(rotors, speeds.T, strict=True)]).T
    return _Fields(places[:, :, None], speeds[:, :, None], peaks[:, :, None], places[-1][:, None])
