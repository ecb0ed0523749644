"""The motions of many parts near where each is likely to lie, against each part's own search and proof."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest

from firmware_host import load_job
from firmware_host.planning.guess import Guess
from firmware_host.planning.index.moves import IndexMoves, index_moves
from firmware_host.planning.index.safe_motion import SafeMotion, motion_for
from firmware_host.planning.index.search import IndexSearch, Pair
from firmware_host.planning.index.swings import MoveSwings
from firmware_host.planning.index.together.motions import NearMotion, motions_near
from firmware_host.planning.limits.check import NARROW_MARGIN
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.load.start import StartJump
from firmware_host.planning.many.lot.stack import stacked
from firmware_host.planning.plan import plan_layout

SURE = 1e-6


class Part(NamedTuple):
    """A part with its own motion, searched whole."""

    load: LoadCase
    moves: IndexMoves
    own: SafeMotion

    def guess(self, harder: float = 0.0, width: float = SURE) -> Guess:
        """Near its own motion."""
        return Guess(self.own.acceleration * (1 + harder), self.own.speed, width)


def parts_of(name: str, sizes: Iterable[float]) -> list[Part]:
    setup, parts = load_job(name), []
    for size in sizes:
        own = setup.with_values({"part.diameter": f"{setup.job.part.diameter.si * 1e3 * size:.4f} mm"})
        route, load = plan_layout(own).route, load_case(own.machine, own.job)
        moves = index_moves(route.index_turns, route.purpose)
        parts.append(Part(load, moves, motion_for(load, moves)))
    return parts


SIZES = (0.9996, 0.9999, 1.0002, 1.0005)
LOTS = {name: parts_of(name, SIZES) for name in ("shaft-scale", "bottle-band", "heavy-shaft")}
JOBS = [pytest.param(LOTS[name], id=name) for name in LOTS]


def found_near(parts: list[Part], *guesses: Guess) -> list[NearMotion | None]:
    loads = [each.load for each in parts]
    return motions_near(loads, stacked(loads), [each.moves for each in parts], guesses)


def require_safe(part: Part, found: NearMotion) -> None:
    """Every limit keeps its reserve with this very motion, as the part's own search sees it."""
    motion = found.motion
    search = IndexSearch([part.load], part.moves, NARROW_MARGIN)
    shares = search.shares(Pair(motion.acceleration, motion.speed, 0.0))
    assert max(shares.values()) <= 1 + 1e-4
    pushing, holding = MoveSwings(part.load, part.moves).peaks(motion.acceleration, motion.speed)
    assert found.peaks == pytest.approx((pushing, holding), rel=1e-4)


@pytest.mark.parametrize("parts", JOBS)
def test_each_part_of_a_lot_has_its_own_motion_as_if_it_were_alone(parts: list[Part]) -> None:
    for part, found in zip(parts, found_near(parts, *(each.guess() for each in parts)), strict=True):
        assert found is not None
        require_safe(part, found)
        assert found.motion.binding == part.own.binding
        assert found.motion.timing.index_s == pytest.approx(part.own.timing.index_s, rel=2e-5)
        assert found.motion.timing.move_s == pytest.approx(part.own.timing.move_s, rel=2e-5)


@pytest.mark.parametrize("parts", JOBS)
def test_a_guess_that_is_a_little_too_hard_gives_way_until_the_limits_are_kept(parts: list[Part]) -> None:
    for part, found in zip(parts, found_near(parts, *(each.guess(1e-4) for each in parts)), strict=True):
        assert found is not None
        require_safe(part, found)
        assert found.motion.acceleration <= part.own.acceleration * (1 + 1e-4)


@pytest.mark.parametrize("parts", JOBS)
@pytest.mark.parametrize("width", [pytest.param(3e-4, id="narrow"), pytest.param(1.5e-3, id="wide")])
def test_near_a_guess_that_is_not_sharp_the_quickest_motion_is_looked_for(parts: list[Part], width: float) -> None:
    off = [width / 10 * sign for sign in (1, -1, 0.3, -0.7)]
    guesses = [part.guess(harder, width) for part, harder in zip(parts, off, strict=True)]
    for part, found in zip(parts, found_near(parts, *guesses), strict=True):
        assert found is not None
        require_safe(part, found)
        assert found.motion.binding == part.own.binding
        if "ringing" in part.own.binding:  # at a limit it is as gentle as the guess is
            assert found.motion.timing.index_s <= part.own.timing.index_s * (1 + 5e-5)
        assert found.motion.timing.index_s >= part.own.timing.index_s * (1 - 2e-4)


def test_nothing_is_told_of_a_part_whose_guess_is_far_from_safe() -> None:
    parts = LOTS["bottle-band"]
    far, *near = found_near(parts, parts[0].guess(0.02), *(each.guess() for each in parts[1:]))
    assert far is None
    assert all(near)


def test_a_part_of_which_less_is_known_is_looked_for_by_itself() -> None:
    parts = LOTS["heavy-shaft"]
    guesses = [parts[0].guess(-1e-3, width=5e-3), *(each.guess() for each in parts[1:])]
    for part, found in zip(parts, found_near(parts, *guesses), strict=True):
        assert found is not None
        require_safe(part, found)
    jumping = [each._replace(load=replace(each.load, start=StartJump(1e-4, 0.0, 1e-9))) for each in parts]
    for part, found in zip(jumping, found_near(jumping, *(each.guess(-1e-3) for each in parts)), strict=True):
        assert found is not None
        require_safe(part, found)


def test_what_is_asked_before_each_look_may_stop_it() -> None:
    class StoppedError(Exception):
        """Somebody has pressed a key."""

    def stop() -> None:
        raise StoppedError("stopped")

    parts = LOTS["shaft-scale"]
    loads, moves = [each.load for each in parts], [each.moves for each in parts]
    with pytest.raises(StoppedError, match="stopped"):
        motions_near(loads, stacked(loads), moves, [each.guess() for each in parts], stop)


def test_a_speed_that_no_gated_move_reaches_is_kept_as_it_was_found() -> None:
    parts = LOTS["shaft-scale"]
    for part, found in zip(parts, found_near(parts, *(each.guess() for each in parts)), strict=True):
        assert found is not None
        assert np.sqrt(found.motion.acceleration * part.moves.gated_lengths[1].max()) < found.motion.speed
        assert found.motion.speed == pytest.approx(part.own.speed, rel=1e-6)
