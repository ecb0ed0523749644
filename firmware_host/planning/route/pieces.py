"""A long move in short pieces, one behind the other, so that it can be stopped where no word stops it.

All pieces go the same way at the same speed, so a controller that looks ahead joins them: together they are the one
move. Each is sent only when it is needed, so that little motion waits in the controller: a stop sends no more of them,
and what was sent is carried out to its end, with its ramp and without a lost step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from firmware_host.errors import CoordinateError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.route.coordinates import ROOM, StoredScale, prove_coordinates
from firmware_host.planning.route.velocity import plan_index
from firmware_host.planning.steps import Steps

STOP_WITHIN_S = 1.0
"""A stop shall stand within this time (s)."""
LEAD_S = 0.1
"""A piece is sent so long before it is needed (s): the line and the computer may be late by that much."""
MOST_QUEUED = 7
"""No more pieces wait in a controller than this: the smallest take eight moves (from memory)."""
_IN_HAND_S = 0.1
"""The start of a move and the answers take their time as well (s)."""
_LONGEST_S, _SHORTEST_S = 0.2, 0.05
_BESIDE = (0, 1, -1, 2, -2)
"""Where a piece may end instead, steps, if the controller could land beside its end."""
_ROOM_STEPS = 1e-6


class Ramp(NamedTuple):
    """What a controller makes moves with: steps/s and steps/s^2, both > 0.

    `start_speed`: steps/s (>= 0) at which it may begin at once, so that it may be that much sooner on its way.
    """

    speed: float
    acceleration: float
    start_speed: float = 0.0


@dataclass(frozen=True, eq=False)
class Pieces:
    """One move from standstill to standstill, cut up.

    `ends`: where each piece ends, whole steps from the start along the way (int64, shape (n,), rising; the last is the
    whole move). `due_s`: when each is to be sent, `latest_s`: when each has to be there so that the speed is kept (s
    from the start of the move, shape (n,)). `stopping_s`: how long it takes to stand still at the most (s), if
    nothing more is sent.
    """

    ends: Steps
    due_s: FloatArray
    latest_s: FloatArray
    stopping_s: float


class SentPiece(NamedTuple):
    """A piece as it is sent: its coordinate, and `due_s` and `latest_s` of `Pieces`."""

    coordinate: str
    due_s: float
    latest_s: float


def cut_move(steps: int, ramp: Ramp, shortest: int = 1) -> Pieces:
    """Cut a move of so many steps (>= 0) at equal times, so that a stop takes `STOP_WITHIN_S` where its ramp allows it.

    No piece is shorter than `shortest` steps (>= 1) unless the move is. One that is over soon anyway stays whole.
    """
    motion = plan_index(float(steps), ramp.acceleration, ramp.speed)
    duration_s, slowing_s = float(motion.duration), float(motion.ramp_time)
    piece_s = min(max((STOP_WITHIN_S - 2 * LEAD_S - slowing_s) / 2, _SHORTEST_S), _LONGEST_S)
    if duration_s + _IN_HAND_S <= STOP_WITHIN_S or steps < 2 * shortest:
        return _whole(steps, duration_s + _IN_HAND_S)
    way = _Way(steps, ramp)
    while True:
        ends = _ends(way, duration_s, piece_s, shortest)
        pieces, queued = _scheduled(way, ends, LEAD_S + min(ramp.start_speed, ramp.speed) / ramp.acceleration)
        if queued <= MOST_QUEUED or len(ends) == 1:
            break
        piece_s *= 1.1
    return pieces if len(ends) > 1 else _whole(steps, duration_s + _IN_HAND_S)


def stopping_time(longest: int, ramp: Ramp, *, in_pieces: bool, shortest: int = 1) -> float:
    """How long a stop takes at the most (s) to a standstill that loses no step, of moves up to `longest` microsteps.

    `in_pieces`: what was sent runs out; else the controller is told to slow down, on its ramp.
    """
    if in_pieces:
        return cut_move(longest, ramp, shortest).stopping_s
    return float(plan_index(float(longest), ramp.acceleration, ramp.speed).ramp_time)


def prove_pieces(start: int, target: int, pieces: Pieces, scale: StoredScale, *, room: float = ROOM) -> list[SentPiece]:
    """The pieces of a move from machine step `start` to `target` as they are sent, each end proved.

    An end that the controller might land beside is moved by a step or two, or left out. Raises `CoordinateError` for
    the target, as `prove_coordinates`.
    """
    sign = 1 if target >= start else -1
    last = prove_coordinates(np.array([target]), scale, room=room).text(0)
    texts = _proved(start + sign * pieces.ends[:-1], scale, room)
    due, latest = pieces.due_s.tolist(), pieces.latest_s.tolist()
    sent = [SentPiece(text, *when) for text, *when in zip(texts, due, latest, strict=False) if text]
    return [*sent, SentPiece(last, due[-1], latest[-1])]


def _proved(targets: Steps, scale: StoredScale, room: float) -> list[str]:
    """Coordinates of the targets, each of it or of a step close by; "" where none is proved."""
    try:
        together = prove_coordinates(targets, scale, room=room)
    except CoordinateError:
        return [_proved_near(int(target), scale, room) for target in targets]
    return [together.text(index) for index in range(len(targets))]


def _proved_near(target: int, scale: StoredScale, room: float) -> str:
    for beside in _BESIDE:
        try:
            return prove_coordinates(np.array([target + beside]), scale, room=room).text(0)
        except CoordinateError:
            continue
    return ""


def ramp_in_steps(
    feed_per_min: float, acceleration_units_per_s2: float, steps_per_unit: Fraction, jump_units_per_s: float = 0.0
) -> Ramp:
    """The ramp of a feed (units/min) and an acceleration (units/s^2), with the speed at the start, in steps."""
    scale = float(steps_per_unit)
    return Ramp(feed_per_min / 60 * scale, acceleration_units_per_s2 * scale, jump_units_per_s * scale)


class _Way:
    """Places and times of one move: speed up, cruise, slow down. Steps and s; formulas of `plan_index`."""

    def __init__(self, steps: int, ramp: Ramp) -> None:
        motion = plan_index(float(steps), ramp.acceleration, ramp.speed)
        self.steps, self.acceleration = float(steps), ramp.acceleration
        self.peak, self.ramp_s = float(motion.peak_speed), float(motion.ramp_time)
        self.duration_s = float(motion.duration)
        self.ramp_steps = self.peak * self.ramp_s / 2

    def place(self, at_s: FloatArray) -> FloatArray:
        """Steps made at each instant (s, 0 .. duration)."""
        up, down = np.minimum(at_s, self.ramp_s), np.maximum(at_s - (self.duration_s - self.ramp_s), 0.0)
        cruise = np.clip(at_s - self.ramp_s, 0.0, max(self.duration_s - 2 * self.ramp_s, 0.0))
        slowing = self.peak * down - self.acceleration * down**2 / 2
        return np.asarray(self.acceleration * up**2 / 2 + self.peak * cruise + slowing)

    def instant(self, place: FloatArray) -> FloatArray:
        """When each place (steps, 0 .. steps) is reached, s."""
        left = np.maximum(self.steps - place, 0.0)
        up = np.sqrt(2 * np.minimum(place, self.ramp_steps) / self.acceleration)
        down = np.sqrt(2 * np.minimum(left, self.ramp_steps) / self.acceleration)
        cruise = np.clip(place - self.ramp_steps, 0.0, max(self.steps - 2 * self.ramp_steps, 0.0)) / self.peak
        return np.asarray(up + cruise + np.where(left < self.ramp_steps, self.ramp_s - down, 0.0))

    def speed(self, place: FloatArray) -> FloatArray:
        """Speed at each place, steps/s."""
        near = np.maximum(np.minimum(place, self.steps - place), 0.0)
        return np.asarray(np.minimum(np.sqrt(2 * self.acceleration * near), self.peak))

    def run_out_s(self, place: FloatArray, end: FloatArray) -> FloatArray:
        """How long a controller that is at `place` takes to stand at `end`, if it has nothing more to do (s)."""
        speed = self.speed(place)
        way = np.maximum(end - place, 0.0)
        peak = np.clip(np.sqrt((2 * self.acceleration * way + speed**2) / 2), speed, np.maximum(self.peak, speed))
        ramps = (2 * peak**2 - speed**2) / (2 * self.acceleration)
        return np.asarray((2 * peak - speed) / self.acceleration + np.maximum(way - ramps, 0.0) / self.peak)


def _whole(steps: int, stopping_s: float) -> Pieces:
    now = np.zeros(1)
    return Pieces(np.array([steps], dtype=np.int64), now, now, stopping_s)


def _ends(way: _Way, duration_s: float, piece_s: float, shortest: int) -> Steps:
    """Ends at equal times, none nearer to another, or to the start, than `shortest` steps."""
    count = max(math.floor(duration_s / piece_s), 1)
    steps = round(way.steps)
    wanted = np.rint(way.place(np.arange(1, count, dtype=np.float64) * (duration_s / count))).astype(np.int64)
    ends, last = [], 0
    for end in wanted.tolist():
        if end - last >= shortest and steps - end >= shortest:
            ends.append(end)
            last = end
    return np.array([*ends, steps], dtype=np.int64)


def _scheduled(way: _Way, ends: Steps, lead_s: float) -> tuple[Pieces, int]:
    """When each piece is sent, `lead_s` (s) before it is needed, and the most of them in the controller at once.

    A controller never changes the piece that it has begun (some do). So when it begins one, so much has to wait behind
    it that it can still slow down from the speed at its end.
    """
    places = ends.astype(np.float64)
    begins = way.instant(np.concatenate(([0.0], places[:-1])))
    needed = places + way.speed(places) ** 2 / (2 * way.acceleration)
    before = np.concatenate(([0.0], places[:-1]))
    first = np.minimum(np.searchsorted(needed, before + _ROOM_STEPS), len(ends) - 1)
    latest = np.maximum(np.where(first > 0, begins[first], 0.0), 0.0)
    due = np.maximum(latest - lead_s, 0.0)
    due_places = way.place(due)
    stopping = float(way.run_out_s(due_places, places).max()) + _IN_HAND_S
    # of those sent at the same time the last counts: all before it wait as well
    done = np.searchsorted(places, due_places + _ROOM_STEPS)
    queued = int((np.arange(1, len(ends) + 1) - done).max())
    return Pieces(ends, due, latest, stopping), queued
