"""What the moves of a job take at a motion: an average index with its settling, and each kind of move on its own."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.planning.index.moves import IndexMoves, MoveKind
from firmware_host.planning.index.ringing import longest_settling
from firmware_host.planning.index.times import times_of
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.load.case import LoadCase


@dataclass(frozen=True, slots=True)
class KindTime:
    """One kind of move: how many there are, and the seconds that they take on average and altogether.

    `settle_s`: the longest that one of them rings; 0 where no gate opens after them.
    """

    kind: MoveKind
    count: int
    move_s: float
    total_s: float
    settle_s: float


@dataclass(frozen=True, slots=True)
class IndexTiming:
    """What the indexes take: `move_s` on average, and `settle_s`, the longest settling, waited after each.

    `kinds`: every kind of move that the job makes.
    """

    move_s: float
    settle_s: float
    kinds: tuple[KindTime, ...] = ()

    @property
    def index_s(self) -> float:
        """An average index with its settling, s."""
        return self.move_s + self.settle_s


def index_timing(
    load: LoadCase, moves: IndexMoves, acceleration: float, speed: float, check: Check = never
) -> IndexTiming:
    """What `moves` take at a motion (part rad/s^2 and rad/s, > 0). `check` is called on the way and may raise."""
    durations = times_of(moves, acceleration, speed).duration
    settle = longest_settling(load, moves, acceleration, speed, check)
    kinds = []
    for kind in MoveKind:
        those = moves.kind == kind
        if those.any():
            count, total = float(moves.count[those].sum()), float((durations * moves.count)[those].sum())
            kinds.append(KindTime(kind, round(count), total / count, total, float(settle[those].max())))
    return IndexTiming(float((durations * moves.weights).sum()), float(settle.max()), tuple(kinds))
