"""Every setting that the recorded boards have listed is read, and goes back in its own text."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.controller.reply import SettingLine
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.stored_settings import StoredNumber

RECORDINGS = Path(__file__).parents[2] / "support" / "recordings"
LISTED = re.compile(rb" *[\d.]+ < (\$(\d+)=(.*))")
SETTINGS = {"status_query_a": 34, "status_query_b": 42, "status_query_c": 91}


def listed(name: str) -> list[tuple[bytes, str, str]]:
    """Each line of a listing, its key and its text."""
    lines = (RECORDINGS / f"{name}.txt").read_bytes().splitlines()
    found = (match for match in map(LISTED.fullmatch, lines) if match)
    return [(match[1], f"${match[2].decode()}", match[3].decode()) for match in found]


@pytest.mark.parametrize("name", SETTINGS)
def test_each_is_read_as_it_was_listed_and_written_back_in_the_same_text(name: str) -> None:
    dialect = StatusQueryDialect()
    found = listed(name)
    assert len({key for _, key, _ in found}) == SETTINGS[name]
    for line, key, text in found:
        assert dialect.parse(line) == SettingLine(key, text)
        assert dialect.listed_setting_line(key, text) == f"{key}={text}\n".encode()


def test_they_have_zero_to_five_decimals_and_each_stands_for_half_of_its_last_digit() -> None:
    texts = {text for name in SETTINGS for _, key, text in listed(name) if int(key[1:]) < 200}
    decimals = {len(text.partition(".")[2]) for text in texts}
    assert {0, 1, 3, 5} <= decimals
    for text in texts:
        number = StoredNumber.printed(text)
        assert number.high - number.low == Fraction(1, 10 ** len(text.partition(".")[2]))
