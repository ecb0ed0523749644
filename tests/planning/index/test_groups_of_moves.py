"""The groups that the moves of a job are put in: every move in one of its kind and length, however many there are."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firmware_host.planning.index.moves import MOST_GROUPS, MoveKind, index_moves
from firmware_host.planning.route.moves import Purpose

PURPOSES = [pytest.param(True, id="of every purpose"), pytest.param(False, id="indexes alone")]


@pytest.mark.parametrize("with_purposes", PURPOSES)
@pytest.mark.parametrize("different", [3, 16, 17, 200])
def test_every_move_is_counted_in_a_group_of_its_kind_that_holds_its_length(
    different: int, with_purposes: bool
) -> None:
    rng = np.random.default_rng(different)
    turns = rng.choice(rng.uniform(0.01, 1.0, different), 400)
    purposes = rng.integers(0, 4, turns.size).astype(np.int8) if with_purposes else None
    moves = index_moves(turns, purposes)
    assert moves.count.sum() == turns.size
    assert (moves.count * moves.mean).sum() == pytest.approx(2 * math.pi * turns.sum())
    assert (np.bincount(moves.kind) <= MOST_GROUPS).all()
    assert (moves.shortest <= moves.mean * (1 + 1e-12)).all()
    assert (moves.mean <= moves.longest * (1 + 1e-12)).all()
    for kind in np.unique(moves.kind):
        of_kind = moves.kind == kind
        assert (moves.longest[of_kind][:-1] < moves.shortest[of_kind][1:]).all()
    if purposes is not None:
        assert moves.count[moves.kind == MoveKind.FINISH].sum() == (purposes == Purpose.FINISH).sum()


def test_of_very_many_lengths_the_longest_may_be_the_most_frequent() -> None:
    turns = np.concatenate([np.linspace(0.01, 0.2, 40), np.full(30, 0.5)])
    moves = index_moves(turns)
    assert moves.count.sum() == turns.size
    assert moves.longest_of_all == pytest.approx(math.pi)


def test_moves_that_are_asked_for_again_are_the_same_and_others_are_not() -> None:
    turns, purposes = np.array([0.1, 0.1, 0.2]), np.array([Purpose.INDEX, Purpose.INDEX, Purpose.FINISH], np.int8)
    assert index_moves(turns.copy(), purposes.copy()) is index_moves(turns, purposes)
    assert index_moves(turns, purposes[::-1]).count.tolist() != index_moves(turns, purposes).count.tolist()
    assert index_moves(turns).gated.all()
    assert not index_moves(turns, purposes).gated.all()


def test_no_move_at_all_counts_as_a_whole_turn() -> None:
    assert index_moves(np.zeros(3)).longest_of_all == pytest.approx(2 * math.pi)
