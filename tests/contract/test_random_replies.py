"""Replies at random and tampered transcripts: no exception but our own, and memory stays flat.

In full (1,000,000 random bytes and 10,000 tampered transcripts per dialect): pytest -m slow tests/contract.
"""

from __future__ import annotations

import gc
import random
import tracemalloc

import pytest

from firmware_host.controller.reply import Reply
from tests.contract.replies import EndlessPort, babble_at, kinds_of_lines, replay, tampered, transcript_of
from tests.contract.rig import Rig, rig
from tests.contract.spoken import MIXED, PLAIN, Case

each_dialect = pytest.mark.parametrize("case", PLAIN, ids=str)

BYTES_PER_BOARD = 1_000
MOST_GROWTH_BYTES = 200_000


def portions(letters: bytes, total: int, chance: random.Random) -> list[bytes]:
    """Random bytes, half of the portions out of the letters of real replies, a few of whole real lines."""
    found = []
    lines = letters.splitlines(keepends=True)
    while total > 0:
        size = chance.randint(1, 40)
        kind = chance.random()
        if kind < 0.4:
            data = chance.randbytes(size)
        elif kind < 0.8:
            data = bytes(chance.choices(letters, k=size))
        else:
            data = chance.choice(lines)
        found.append(data)
        total -= len(data)
    return found


def random_bytes(case: Case, count: int, seed: int) -> tuple[int, int]:
    """Let boards say `count` random bytes; how much memory has grown by (bytes), and how many things were done."""
    chance = random.Random(seed)
    letters = b"".join(transcript_of(case))
    babble_at(case, portions(letters, BYTES_PER_BOARD, chance), chance)  # whatever is made once is made now
    tracemalloc.start()
    gc.collect()
    before, _ = tracemalloc.get_traced_memory()
    done = 0
    for _ in range(count // BYTES_PER_BOARD):
        done += babble_at(case, portions(letters, BYTES_PER_BOARD, chance), chance)
    gc.collect()
    after, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return after - before, done


def tampered_transcripts(case: Case, count: int, seed: int) -> int:
    """Replay `count` tampered transcripts; how many got past the opening."""
    chance = random.Random(seed)
    dialect = case.name.partition("/")[0]
    boards = [board for board in MIXED if board.name.startswith(dialect)]
    originals = [(board, transcript_of(board)) for board in boards]
    opened = 0
    for _ in range(count):
        board, original = chance.choice(originals)
        opened += replay(board, tampered(original, chance), chance)
    return opened


@pytest.mark.parametrize("case", MIXED, ids=str)
def test_an_untouched_transcript_replays_to_the_same_job(case: Case) -> None:
    """The control experiment: what is tampered with below is a real dialogue, and gets past the opening."""
    assert replay(case, transcript_of(case), random.Random(0))


@each_dialect
def test_random_bytes_raise_nothing_but_our_own_errors_and_are_not_kept(case: Case) -> None:
    grown, done = random_bytes(case, 25_000, seed=1)
    assert grown < MOST_GROWTH_BYTES
    assert done >= 25


@each_dialect
def test_tampered_transcripts_raise_nothing_but_our_own_errors(case: Case) -> None:
    assert tampered_transcripts(case, 300, seed=2) > 15


@pytest.mark.slow
@pytest.mark.timeout(3600)
@each_dialect
def test_a_million_random_bytes_raise_nothing_but_our_own_errors_and_are_not_kept(case: Case) -> None:
    grown, done = random_bytes(case, 1_000_000, seed=3)
    assert grown < MOST_GROWTH_BYTES
    assert done >= 1000


@pytest.mark.slow
@pytest.mark.timeout(3600)
@each_dialect
def test_ten_thousand_tampered_transcripts_raise_nothing_but_our_own_errors(case: Case) -> None:
    assert tampered_transcripts(case, 10_000, seed=4) > 500


@pytest.mark.parametrize("every", [9, pytest.param(1, marks=pytest.mark.slow)], ids=["a ninth", "all"])
@pytest.mark.parametrize(("first", "state"), list(enumerate(["opening", "moving", "watching"])))
@each_dialect
def test_a_board_that_says_one_thing_for_ever_is_given_up_in_time(
    case: Case, first: int, state: str, every: int
) -> None:
    """A third of the kinds of line, each in one of the three states; every one in each of them by `-m slow`."""
    for words in list(kinds_of_lines(case))[first % every :: every]:
        r = rig(case, EndlessPort)
        assert isinstance(r.port, EndlessPort)

        def talk(name: str, r: Rig = r, words: bytes = words) -> None:
            if name == state and isinstance(r.port, EndlessPort):
                r.port.words = words * (57 // len(words) + 1)

        error = r.outcome(talk)  # asserts that it ended in time, and that nothing was proved of a moving axis
        assert error is not None, words


@each_dialect
def test_no_line_makes_the_parser_raise(case: Case) -> None:
    chance = random.Random(5)
    dialect = case.spoken.dialect()
    lines = b"".join(transcript_of(case)).split()
    for _ in range(20_000):
        data = bytearray(chance.choice(lines))
        for _ in range(chance.randint(0, 3)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        assert isinstance(dialect.parse(bytes(data)), Reply)
