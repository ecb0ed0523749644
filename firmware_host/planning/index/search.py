"""The search for the quickest index, move and settling, over acceleration and speed at once.

The lowest points that `descent` finds with a few oscillators are looked at with all of them, and give way a little
where that is needed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.groups import largest_of_few
from firmware_host.planning.guess import Guess
from firmware_host.planning.index.descent.descent import SPEEDS, Descent, Wish
from firmware_host.planning.index.descent.room import MotionRoom
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.peaks import WORST_PEAK, peak_bounds
from firmware_host.planning.index.swings import MoveSwings
from firmware_host.planning.index.times import different_times
from firmware_host.planning.limits.limit import SUDDEN_PEAK, Limit
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase

_AGAIN, _GIVING_WAY = 4, 24
_KEPT_BYTES = 2 << 20
_LEFT = 0.1  # of a limit: what more caution than it needs may have left
_AS_GOOD = 1 - 1e-3  # what the few oscillators miss


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A motion found: `acceleration` (rad/s^2) and `speed` (rad/s) of the part, `cost`: s of an average index."""

    acceleration: float
    speed: float
    cost: float


_MORE_OR_LESS = "take mass or imbalance off the part, or give it more grip, torque or gearing"


class IndexSearch(MotionRoom):
    """The quickest pair for `moves` with every one of `limits` (by default all) kept to 1 - `reserve` of itself."""

    def __init__(
        self,
        loads: Sequence[LoadCase],
        moves: IndexMoves,
        reserve: float,
        limits: Iterable[Limit] | None = None,
        swings: MoveSwings | None = None,
    ) -> None:
        """As `MotionRoom`. `swings`: what `moves` do to the first of `loads`, where some of it is known already."""
        super().__init__(loads, moves, reserve, all_limits() if limits is None else limits)
        self._swings = swings if swings is not None else MoveSwings(loads[0], moves)

    @property
    def acceleration_limits(self) -> frozenset[str]:
        """Names of the limits that bound the acceleration."""
        return frozenset(self.sudden_bounds(np.zeros(1)))

    def shares(self, pair: Pair) -> dict[str, float]:
        """How much of each limit, its reserve kept, a pair uses up: 1 at the limit."""
        v, a = np.array([pair.speed]), np.array([pair.acceleration])
        ramps = self.allowed.steady_shares(a, v, self.pull_out(v))
        shares = self.allowed.speed_shares(pair.speed) | {name: float(share[0]) for name, share in ramps.items()}
        return shares | self._peak_shares(pair)

    def _peak_shares(self, pair: Pair) -> dict[str, float]:
        """The same of the limits of the swinging part, whatever oscillator of the load's it is."""
        up, down = self._swings.peaks(pair.acceleration, pair.speed)
        v, a = np.array([pair.speed]), np.array([pair.acceleration])
        shares = self.allowed.peak_shares(up * a, down * a, v, self.pull_out(v))
        return {name: float(share[0]) for name, share in shares.items()}

    def near(self, guess: Guess) -> Pair | None:
        """The pair of least cost near one; None where that can't be proved to keep the limits as it is."""
        _keep_memory()
        found = Descent(self, Wish(None, None, True), self._swings.check).lowest_near(*guess)
        pair = Pair(*found[0]) if found else None
        return self._with_true_cost(pair) if pair is not None and self._over(pair) <= 1 else None

    def best(self, acceleration: float | None, speed: float | None) -> Pair:
        """The pair of least cost; a given `acceleration` (rad/s^2) or `speed` (rad/s) is kept.

        Cruising in a resonant band is avoided where it can be. `LimitExceededError` where nothing is safe.
        """
        _keep_memory()
        for beside_bands in (True, False):
            descent = Descent(self, Wish(acceleration, speed, beside_bands), self._swings.check)
            best = self._lowest_proved(descent, acceleration, speed)
            if best is not None:
                return best
        raise self._nothing_safe(acceleration, speed)

    def _lowest_proved(self, descent: Descent, acceleration: float | None, speed: float | None) -> Pair | None:
        """The quickest pair that keeps the limits whatever oscillator it is, with its true cost; None if none is found.

        Where one exceeds them that looked quicker, the way down is gone again, more cautious by as much.
        """
        best: Pair | None = None
        first: Pair | None = None
        caution = 1.0
        for _ in range(_AGAIN):
            over = 1.0
            for pair in (Pair(*each) for each in descent.lowest(caution)):
                first = first or pair
                if best is not None and pair.cost >= best.cost * _AS_GOOD:
                    break
                proved = self._proved(pair)
                best = _quicker(best, proved)
                over = over if proved is not None else max(over, self._over(pair))
            if over <= 1:
                break
            caution *= over + 1e-4
        if best is None:
            return self._giving_way(first, acceleration, speed) if first is not None else None
        if caution > 1 and (over := self._over(best)) > 1 - _LEFT:
            nearby = descent.lowest(caution * (over + 4e-6), (best.acceleration, best.speed, best.cost))
            best = _quicker(best, self._proved(Pair(*nearby[0]))) if nearby else best
        return best

    def _proved(self, pair: Pair) -> Pair | None:
        """The pair with its true cost if every oscillator keeps the limits."""
        if self._surely_bears(pair) or self._over(pair) <= 1:
            return self._with_true_cost(pair)
        return None

    def _giving_way(self, pair: Pair, acceleration: float | None, speed: float | None) -> Pair | None:
        """The pair, given way until every oscillator keeps the limits, and its true cost; None where none is found.

        A lower acceleration shifts the ramps against the swing, which may make it worse: so it gives way at the same
        speed, with the same ramp, and with the same cruise of the longest move, as far as neither is stated.
        """
        ways: tuple[Callable[[Pair, float], Pair], ...]
        if acceleration is not None:
            ways = (_slower,)
        else:
            ways = (_gentler,) if speed is not None else (_gentler, _same_ramp, self._same_cruise)
        found = [proved for way in ways if (proved := self._given_way(pair, way)) is not None]
        return min(found, key=lambda each: each.cost, default=None)

    def _given_way(self, pair: Pair, way: Callable[[Pair, float], Pair]) -> Pair | None:
        for _ in range(_GIVING_WAY):
            over = self._over(pair)
            if over <= 1:
                return self._with_true_cost(pair)
            pair = way(pair, over + 1e-4)
        return None

    def _surely_bears(self, pair: Pair) -> bool:
        """Whether the coarse bounds of the swing show it, without a look at each oscillator."""
        a, v = np.array([pair.acceleration]), np.array([pair.speed])
        peaks = peak_bounds(self.load, different_times(self.moves, a, v))
        return bool(self.bears(largest_of_few(peaks.pushing) * a, largest_of_few(peaks.holding) * a, v)[0])

    def _over(self, pair: Pair) -> float:
        return max(self._peak_shares(pair).values(), default=0.0) - 1e-9

    def _with_true_cost(self, pair: Pair) -> Pair:
        return replace(pair, cost=self._swings.timing(pair.acceleration, pair.speed).index_s)

    def _same_cruise(self, pair: Pair, over: float) -> Pair:
        """The speed that leaves the cruise as it is: d = v^2/a + v c, solved for v."""
        length, a = self.moves.longest_of_all, pair.acceleration
        cruise = length / pair.speed - pair.speed / a
        if cruise <= 0:
            return _gentler(pair, over)
        a /= over
        return replace(pair, acceleration=a, speed=a / 2 * (math.sqrt(cruise**2 + 4 * length / a) - cruise))

    def _nothing_safe(self, acceleration: float | None, speed: float | None) -> LimitExceededError:
        """What is in the way: the limits that a ramp exceeds which sets in at once, else the peaks of any ringing."""
        speeds = SPEEDS * self.reachable_speed if speed is None else np.array([speed])
        wanted = acceleration or 0.0
        bounds = {name: float(bound.max()) for name, bound in self.sudden_bounds(speeds).items()}
        short = {name: most for name, most in bounds.items() if most <= wanted}
        if not short:
            peaks = self.allowed.swinging(speeds, self.pull_out(speeds))
            in_any_phase = {name: float(most.max()) * SUDDEN_PEAK / WORST_PEAK for name, most in peaks.items()}
            nearest = min(in_any_phase, key=lambda name: in_any_phase[name])
            short = {name: most for name, most in in_any_phase.items() if most <= wanted or name == nearest}
        details = tuple(
            f"{name}: wanted more than {wanted:.4g} rad/s^2 of the part, at most {max(most, 0.0):.4g} rad/s^2 is safe"
            for name, most in short.items()
        )
        return LimitExceededError(tuple(short), (*details, _MORE_OR_LESS))


def _keep_memory() -> None:
    """Have the C library keep the memory that arrays leave, for the next ones: thousands of page faults a search less.

    glibc keeps at least as much as the largest block that it was ever handed back (mallopt(3), M_MMAP_THRESHOLD:
    "dynamic"); so it is handed one, to which nothing was ever written. Other libraries don't mind.
    """
    np.empty(_KEPT_BYTES, dtype=np.uint8)


def _quicker(best: Pair | None, other: Pair | None) -> Pair | None:
    return min((each for each in (best, other) if each is not None), key=lambda each: each.cost, default=None)


def _gentler(pair: Pair, over: float) -> Pair:
    return replace(pair, acceleration=pair.acceleration / over)


def _same_ramp(pair: Pair, over: float) -> Pair:
    return replace(pair, acceleration=pair.acceleration / over, speed=pair.speed / over)


def _slower(pair: Pair, over: float) -> Pair:
    return replace(pair, speed=pair.speed / over)
