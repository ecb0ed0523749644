"""Parts that are nearly alike have nearly the same motion: a few are searched whole, the others near what these say.

The motion of each part is its own: the quickest near where its neighbours' lies, proved by the same limits, to the same
reserve, as if it were alone. Where neighbours don't agree, or a part turns out unlike them, it is searched whole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from firmware_host.errors import FormulaRangeError, InputError, LimitExceededError, PlanError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.model.files.loading import Setup
from firmware_host.model.files.parts import PartRow
from firmware_host.planning.guess import Guess
from firmware_host.planning.interrupt import Check
from firmware_host.planning.limits.check import NARROW_MARGIN
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.many.lot.lot import LotPart, planned_near
from firmware_host.planning.many.lot.stack import UnlikeError
from firmware_host.planning.many.nearness import Rows, halves, numbers_of, spread_out
from firmware_host.planning.many.part import PartLayout, PartMotion, planned
from firmware_host.planning.many.rows import made_of

_LENGTHS = 5  # of the indexes, from the shortest to the longest
_SPLIT = 300  # parts: so many are halved to find what they have in common more exactly
_FEW = 24  # parts: so few are each searched whole
_LIKE_LAW, _LIKE_TIME = 3e-4, 1e-3  # what the motions of those searched whole may be off the plane through them
_WIDER, _TIME_OFF = 10.0, 1e-3
_TRIALS, _AS_GOOD = 2, 2e-5  # parts that are searched both ways, and how much longer an index may then take
_AS_SURE, _SURE, _ROUNDING = 1.5e-5, 3.0, 1e-7  # a plane that is as sharp as the search itself
_EDGE = 1e-3  # of a limit: a margin so near to an edge may lie on the other side of it
_TRIED, _LARGEST, _ENOUGH_LIKE = 16, 128, 0.75  # parts tried first, and at once, and how many must be found there

Planned = tuple[PartLayout, PartMotion]


@dataclass(frozen=True, slots=True, eq=False)
class _Law:
    """What parts near one another have in common: what stops their motion, and a plane for the rest.

    `plane`: ln acceleration, ln speed and ln of the time of an index, by 1 and the numbers of a part, shape
    (1 + columns, 3); `off`: the most that those searched whole are off it.
    """

    binding: tuple[str, ...]
    plane: FloatArray
    off: FloatArray

    def guess(self, numbers: FloatArray) -> Guess:
        """Where the motion of a part lies; a sharp one a little below, since a harder one rings much longer."""
        a, v, _ = np.exp(self._at(numbers) - (self.off if self.sharp else 0.0)).tolist()
        return Guess(a, v, (_SURE if self.sharp else _WIDER) * float(self.off[0]) + _ROUNDING)

    @property
    def sharp(self) -> bool:
        """Whether it tells a motion about as exactly as a search finds it."""
        return bool(self.off[:2].max() <= _AS_SURE)

    def fits(self, numbers: FloatArray, motion: PartMotion) -> bool:
        """Whether a part that was looked for there is what its neighbours say."""
        a, _, index = self._at(numbers).tolist()
        near = abs(math.log(motion.acceleration) - a) <= _LIKE_LAW
        return near and abs(math.log(motion.index_s) - index) <= _TIME_OFF and motion.binding == self.binding

    def _at(self, numbers: FloatArray) -> FloatArray:
        found: FloatArray = np.concatenate([np.ones(1), numbers]) @ self.plane
        return found


def plan_alike(setup: Setup, rows: Sequence[PartRow], check: Check) -> list[Planned | str]:
    """The plan of each of `rows`, or why there is none. `check` as in `plan_job`."""
    return _Lot(setup, rows, check).all()


def _law(numbers: FloatArray, found: Sequence[Planned | str]) -> _Law | None:
    """What parts have in common that were searched whole; None where they haven't."""
    motions = [each[1] for each in found if not isinstance(each, str)]
    if len(motions) < len(found) or len({each.binding for each in motions}) > 1:
        return None
    given = np.column_stack([np.ones(len(found)), numbers])
    wanted = np.log([(each.acceleration, each.speed, each.index_s) for each in motions])
    plane = np.linalg.lstsq(given, wanted, rcond=None)[0]
    off = np.abs(given @ plane - wanted).max(axis=0)
    alike = off[0] <= _LIKE_LAW and off[2] <= _LIKE_TIME
    return _Law(motions[0].binding, plane, off) if alike else None


def _followed(part: LotPart) -> list[float]:
    """What the quickest motion of a part follows, besides its limits: how it swings, and how far it is indexed."""
    moves, gated = part.moves, part.moves.gated
    lengths = np.sort(np.repeat(moves.longest[gated], moves.count[gated].astype(int)))
    some = lengths[np.linspace(0, lengths.size - 1, _LENGTHS).round().astype(int)]
    return [part.load.natural_band.lowest, float((moves.mean * moves.weights).sum()), *some.tolist()]


class _Lot:
    def __init__(self, setup: Setup, rows: Sequence[PartRow], check: Check) -> None:
        self._setup, self._rows, self._check = setup, rows, check
        index = setup.job.index
        stated = {"index.speed", "index.acceleration"}.intersection(*(row.values for row in rows[:1]))
        self._free = index.speed is None and index.acceleration is None and not stated
        self._parts = dict[int, LotPart]()
        self._laws = dict[int, FloatArray]()
        self._found = dict[int, Planned | str]()
        self._numbers = numbers_of(rows)

    def all(self) -> list[Planned | str]:
        rows = np.arange(len(self._rows))
        for some in self._of_one_kind() if self._free and rows.size >= _FEW else [rows]:
            self._plan(some)
        return [self._found[place] for place in range(len(self._rows))]

    def _of_one_kind(self) -> list[Rows]:
        """The rows that can be laid out and of which nothing is assumed, those with as many segments together.

        The rest is planned by itself.
        """
        kinds = dict[object, list[int]]()
        for place, row in enumerate(self._rows):
            self._check()
            part = made_of(self._setup, row, LotPart.of)
            if isinstance(part, LotPart) and part.sure:
                self._parts[place] = part
                kinds.setdefault(part.kind, []).append(place)
            else:
                self._whole(place)
        return [self._with_laws(np.array(places, dtype=np.intp)) for places in kinds.values()]

    def _with_laws(self, rows: Rows) -> Rows:
        """`rows`, once what their motions follow is told of them, as far as it is not the same of all."""
        own = np.log([_followed(self._parts[place]) for place in rows.tolist()])
        own = np.column_stack([self._numbers[rows], (own - own.mean(axis=0))[:, np.ptp(own, axis=0) > 0]])
        self._laws.update(zip(rows.tolist(), own, strict=True))
        return rows

    def _plan(self, rows: Rows) -> None:
        law = None
        if rows.size >= _FEW and self._free:
            some = self._some_of(rows)
            law = _law(np.array([self._laws[place] for place in some]), [self._whole(place) for place in some])
            if law is not None and not self._as_good(law, rows):
                law = None
            if (law is None and rows.size >= 2 * _FEW) or (law is not None and not law.sharp and rows.size >= _SPLIT):
                for half in halves(self._numbers, rows):
                    self._plan(half)
                return
        self._each(rows.tolist(), law)

    def _some_of(self, rows: Rows) -> list[int]:
        """Some of `rows` that say what all of them have in common, twice as many as are needed; all known ones, too."""
        places = rows[spread_out(np.array([self._laws[place] for place in rows.tolist()]), 2)].tolist()
        return [*dict.fromkeys([*places, *(place for place in rows.tolist() if place in self._found)])]

    def _as_good(self, law: _Law, rows: Rows) -> bool:
        """Whether a few parts are as quick near what their neighbours say as they are searched whole."""
        others = [place for place in rows.tolist() if place not in self._found]
        trials = others[:: max(1, len(others) // _TRIALS)][:_TRIALS]
        for near, whole in zip(self._near(trials, law), map(self._whole, trials), strict=True):
            if near is None or isinstance(whole, str):
                return False
            if near[1].index_s > whole[1].index_s * (1 + _AS_GOOD) or near[1].binding != whole[1].binding:
                return False
        return True

    def _each(self, places: list[int], law: _Law | None) -> None:
        left = [place for place in places if place not in self._found]
        tried = like = 0
        while law is not None and left and not (tried and like < _ENOUGH_LIKE * tried):
            some, left = left[: _LARGEST if tried else _TRIED], left[_LARGEST if tried else _TRIED :]
            tried += len(some)
            for place, found in zip(some, self._near(some, law), strict=True):
                if found is not None and law.fits(self._laws[place], found[1]) and not self._near_an_edge(found[1]):
                    self._found[place] = found
                    like += 1
        for place in places:
            self._whole(place)

    def _near(self, places: list[int], law: _Law) -> Sequence[Planned | None]:
        """Each part near where its neighbours say that its motion lies; None where none is found there.

        None of any, too, where what differs is not told of all at once: an array where numpy wants a number.
        """
        guesses = [law.guess(self._laws[place]) for place in places]
        try:
            return planned_near([self._parts[place] for place in places], guesses, self._check)
        except (UnlikeError, InputError, PlanError, LimitExceededError, FormulaRangeError, TypeError, ValueError):
            return [None] * len(places)

    def _near_an_edge(self, motion: PartMotion) -> bool:
        """Whether a little more or less of a margin could make another verdict, or another limit the tightest.

        The search itself sees to it that those that bind it keep their reserve.
        """
        for name, margin in motion.margins.items():
            if margin is None or name not in self._moving:
                continue
            rival = motion.margin is not None and name != motion.tightest and 0 < abs(margin - motion.margin) < _EDGE
            if rival or abs(margin) < _EDGE or (abs(margin - NARROW_MARGIN) < _EDGE and name not in self._bounding):
                return True
        return False

    @cached_property
    def _moving(self) -> frozenset[str]:
        """The checks whose margin is another at another motion."""
        place, motion = next((place, each[1]) for place, each in self._found.items() if not isinstance(each, str))
        stated = {
            "index.acceleration": f"{0.99 * motion.acceleration!r} rad/s^2",
            "index.speed": f"{0.99 * motion.speed!r} rad/s",
        }
        row = self._rows[place]
        _, other = planned(self._setup.with_values({**row.values, **stated}), self._check)
        return frozenset(name for name, margin in motion.margins.items() if margin != other.margins.get(name))

    @cached_property
    def _bounding(self) -> frozenset[str]:
        """The limits that bound the motion."""
        load = next(iter(self._parts.values())).load
        return frozenset(limit.name for limit in all_limits() if limit.bound(load, NARROW_MARGIN) is not None)

    def _whole(self, place: int) -> Planned | str:
        if place not in self._found:
            self._found[place] = made_of(self._setup, self._rows[place], self._planned)
        return self._found[place]

    def _planned(self, setup: Setup) -> Planned:
        return planned(setup, self._check)
