"""From the text of a line to its words (NIST RS274/NGC Interpreter v3, section 3.3: a letter and a number)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from firmware_host.simulator.axis.single_precision import single
from firmware_host.simulator.status_query.refusal import RefusedLineError

_COMMENT = re.compile(r"\([^)]*\)?|;.*")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")

GROUP_OF_G: Mapping[int, str] = {
    **dict.fromkeys((0, 10, 800), "motion"),
    **dict.fromkeys((40, 100, 280, 281, 300, 301, 530, 920, 921), "once"),
    **dict.fromkeys((170, 180, 190), "plane"),
    **dict.fromkeys((200, 210), "units"),
    **dict.fromkeys((400,), "cutter"),
    **dict.fromkeys((490,), "length"),
    **dict.fromkeys((540, 550, 560, 570, 580, 590), "system"),
    **dict.fromkeys((610,), "path"),
    **dict.fromkeys((900, 910), "distance"),
    **dict.fromkeys((930, 940), "feed"),
}
"""Modal group of each G word the board knows, by ten times its number."""

GROUP_OF_M: Mapping[int, str] = {
    **dict.fromkeys((0, 2, 30), "stop"),
    **dict.fromkeys((3, 4, 5), "spindle"),
    **dict.fromkeys((7, 8, 9), "coolant"),
}
VALUE_WORDS = "FSPLNT"


@dataclass
class Words:
    """A line's words: `g` by group as ten times the number, `m` by group, `values` by letter as 32-bit floats."""

    g: dict[str, int] = field(default_factory=dict)
    m: dict[str, int] = field(default_factory=dict)
    values: dict[str, float] = field(default_factory=dict)


def strip_line(text: str) -> str:
    """The line without comments and blanks, in capitals."""
    return "".join(_COMMENT.sub("", text).split()).upper()


def read_number(text: str) -> float:
    """A whole text as a 32-bit float; RefusedLineError(2) if it is no plain decimal number."""
    if not _NUMBER.fullmatch(text):
        raise RefusedLineError(2)
    value = single(float(text))
    if value in (float("inf"), float("-inf")):
        raise RefusedLineError(2)
    return value


def read_setting(text: str, tail: str) -> float:
    """A setting's value as a 32-bit float. `tail` is what becomes of anything behind its digits: `no number`,
    `refused` or `dropped` (see `Speech.number_tail`).
    """
    match = _NUMBER.match(text)
    if match is None or tail == "no number":
        return read_number(text)
    if match.end() < len(text) and tail == "refused":
        raise RefusedLineError(3)
    return read_number(match.group())


def read_words(text: str, axes: str, *, unknown_letter: int = 20) -> Words:
    """Split a stripped line. Raises RefusedLineError for what the board cannot read or does not know; `unknown_letter`
    is the number for a letter that is no word.
    """
    words = Words()
    position = 0
    while position < len(text):
        letter = text[position]
        if not ("A" <= letter <= "Z"):
            raise RefusedLineError(1)
        match = _NUMBER.match(text, position + 1)
        if match is None:
            raise RefusedLineError(2)
        if letter not in axes + VALUE_WORDS + "GM":
            raise RefusedLineError(unknown_letter)
        _add(words, letter, read_number(match.group()))
        position = match.end()
    return words


def _add(words: Words, letter: str, value: float) -> None:
    if letter == "G":
        tenths = round(value * 10)
        if abs(value * 10 - tenths) > 1e-3 or tenths not in GROUP_OF_G:
            raise RefusedLineError(20)
        _put(words.g, GROUP_OF_G[tenths], tenths)
    elif letter == "M":
        if value != int(value):
            raise RefusedLineError(23)
        if int(value) not in GROUP_OF_M:
            raise RefusedLineError(20)
        _put(words.m, GROUP_OF_M[int(value)], int(value))
    elif letter in words.values:
        raise RefusedLineError(25)
    else:
        words.values[letter] = value


def _put(groups: dict[str, int], group: str, number: int) -> None:
    if group in groups:
        raise RefusedLineError(21)
    groups[group] = number
