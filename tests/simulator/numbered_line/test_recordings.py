"""The simulated boards answer as the recorded ones: the recordings as they are, then with other values and orders.

Lines are compared word for word. Not compared, because it is a matter of times, and the rig's computer was busy: when a
line came; how often a request to send again was repeated; pulses and places in motion, or where a stop or a halt under
way ended it (the place told must be the motor's own then); the check sum of what was stored.
"""

from __future__ import annotations

import random
import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import pytest

from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from tests.simulator.numbered_line.drawn import Expected, reordered, same_shape
from tests.simulator.numbered_line.playback import Played, Player, plain
from tests.simulator.numbered_line.recording import Exchange, read_recording

NAMES = ("numbered-line-a", "numbered-line-b")
PROVED_AT_LEAST = {"numbered-line-a": 6, "numbered-line-b": 14}
STOP = "M410"
NONE_LATE: tuple[list[str], list[str]] = ([], [])


def board(name: str) -> NumberedLineVariant:
    """The board as it was on the rig, where a switch was pressed at once wherever X stood."""
    variant = RECORDED[name]
    return replace(variant, home_switches={"X": 0}) if name == "numbered-line-b" else variant


def recording(name: str) -> list[Exchange]:
    return read_recording(name.replace("-", "_"))


def where_it_was_stopped(played: Sequence[Played]) -> list[list[str]]:
    """What was said between a stop under way and the next move: it depends on the instant."""
    told: list[list[str]] = []
    stopped = False
    for one in played:
        stopped = (stopped or one.recorded.words == STOP) and not one.recorded.words.startswith("G")
        if stopped:
            told.append(plain(one.said))
    return told


@pytest.mark.parametrize("name", NAMES)
def test_a_recorded_board_is_played_back_word_for_word(name: str) -> None:
    played = list(Player(board(name)).play(recording(name)))
    assert len(played) > 160
    stops = where_it_was_stopped(played) if name == "numbered-line-b" else []
    differing = [
        (one.recorded.sent, plain(one.recorded.said), plain(one.said))
        for one in played
        if plain(one.recorded.said) != plain(one.said) and plain(one.said) not in stops
    ]
    assert differing == []
    assert len(stops) <= 10


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("word", ["wait", "busy"])
def test_a_board_says_as_often_as_the_recorded_one_that_it_waits_or_is_busy(name: str, word: str) -> None:
    """One more or less by the end of a move, or of the recorder's listening, is a matter of times."""
    played = list(Player(board(name)).play(recording(name)))[:-1]
    counts = [[sum(word in line for line in said) for said in (one.recorded.said, one.said)] for one in played]
    assert all(abs(recorded - own) <= 1 for recorded, own in counts)
    recorded, own = (sum(column) for column in zip(*counts, strict=True))
    assert abs(recorded - own) <= 0.25 * recorded


@pytest.mark.parametrize("name", NAMES)
def test_what_the_rig_counted_at_rest_is_what_the_simulated_motor_made(name: str) -> None:
    own_sync = name == "numbered-line-b"
    compared, proved, stopped, before = 0, False, False, ""
    for one in Player(board(name)).play(recording(name)):
        words, pulses = one.recorded.words, one.recorded.pulses
        moves = re.match("G0|G1|M112", words) or one.recorded.sent is None
        if moves:
            proved = stopped = False
        stopped = stopped or (words == STOP and own_sync)
        if not stopped and re.match("M400|G4", words):
            proved = proved or (own_sync and "ok" in one.recorded.said)
        proved = proved or (before == "M400" and not stopped and not moves)
        before = words
        if pulses is not None and proved:
            assert (one.recorded.sent, pulses) == (one.recorded.sent, one.pulses)
            compared += 1
    assert compared >= PROVED_AT_LEAST[name]


@pytest.mark.parametrize(("name", "fewest", "most"), [(NAMES[0], 5, 8), (NAMES[1], 510, 525)], ids=NAMES)
def test_a_halt_under_way_makes_as_many_pulses_more_as_were_counted(name: str, fewest: int, most: int) -> None:
    played = list(Player(board(name)).play(recording(name)))
    halts = [i for i, one in enumerate(played) if one.recorded.words == "M112"]
    assert len(halts) == 2
    for i in halts:
        made = abs(played[i].pulses[0]) - abs(played[i - 1].pulses[0])
        counted = [played[j].recorded.pulses for j in (i - 1, i)]
        assert fewest <= abs((counted[1] or (0, 0))[0]) - abs((counted[0] or (0, 0))[0]) <= most
        assert fewest <= made <= most


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", range(4))
def test_other_values_and_another_order_are_answered_from_the_boards_own_state(name: str, seed: int) -> None:
    assert wrong_answers(name, seed) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_a_hundred_other_playbacks_are_answered_from_the_boards_own_state(name: str) -> None:
    assert [found for seed in range(4, 104) for found in wrong_answers(name, seed)] == []


def wrong_answers(name: str, seed: int) -> list[object]:
    """Everything in a drawn playback that is not as it was recorded or doesn't follow from what was sent.

    An answer may come with the next line's: how long the motion lasts depends on the values.
    """
    variant, echoes = board(name), name == "numbered-line-a"
    exchanges = reordered(recording(name), random.Random(seed))
    player = Player(variant)
    settings = {key: Fraction(value) for key, value in player.device.settings.items() if re.search("M.* [XPT]$", key)}
    bounds = (Fraction(0), Fraction(418 if echoes else 200))
    expected = Expected(echoes, 1 if echoes else 6, bounds, settings)
    found: list[object] = []
    rest, late = (0, 0), NONE_LATE
    for index, exchange in enumerate(exchanges):
        if not player.device.moving_at(player.now_s):
            rest = (player.device.steps_at("X", player.now_s), expected.count)
        if exchange.sent is None:
            expected.start(fresh=exchange.fresh)
            line, words = None, ""
        else:
            line, words = expected.line(exchange)
        following = exchanges[index + 1] if index + 1 < len(exchanges) else None
        told = player.one(replace(exchange, sent=line), following)
        expected.carry_out(words)
        if words == STOP and not echoes:
            steps = player.device.steps_at("X", player.now_s) - rest[0]
            expected.stopped(rest[1] + steps)
        if words == "M112" and echoes:
            expected.start()
        if exchange.heading != "between":
            recorded, said = [*late[0], *exchange.said], [*late[1], *told.said]
            same = same_shape(recorded, said)
            if late != NONE_LATE and not same:
                found.append((seed, line, plain(recorded)[:8], plain(said)[:8]))
            late = NONE_LATE if same or late != NONE_LATE else (recorded, said)
        if echoes and words and line and line.startswith("N") and not words.startswith(("M110", "M112")):
            found += [] if {f"Got:{line}", f"ok {expected.last}"} <= set(told.said) else [(seed, line, told.said[:3])]
        found += [(seed, line, wrong) for wrong in expected.wrong(told.said)]
    return found if late == NONE_LATE else [*found, late]
