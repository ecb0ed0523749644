"""What is known of a board: each line with where it comes from, for both mechanisms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from types import MappingProxyType

import pytest

from firmware_host.controller.dialect import Dialect
from firmware_host.controller.learned import Fact, Learned, Listing, Position, Source
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.numbered_line.learned import learned_of as learned_of_numbered
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.status_query.learned import learned_of as learned_of_state_word
from firmware_host.controller.stored_settings import ControllerSettings, StoredNumber

_NUMBER = StoredNumber.printed("100.000")


def _settings(dialect: Dialect, raw: Mapping[str, str]) -> ControllerSettings:
    return ControllerSettings(MappingProxyType(dict(raw)), "X", dialect.setting_names("X"), _NUMBER, _NUMBER, _NUMBER)


def _numbered(raw: Mapping[str, str]) -> Learned:
    settings = _settings(NumberedLineDialect(), raw)
    return learned_of_numbered("XYZ", settings, lists_stored=True, rates_per_s=(None, None), answer_s=0.006)


def _state_word() -> Learned:
    return learned_of_state_word("XYZ", _settings(StatusQueryDialect(), {"$100": "100.000"}), 0.004)


@pytest.mark.parametrize(
    "learned", [pytest.param(_numbered({}), id="numbered"), pytest.param(_state_word(), id="state-word")]
)
def test_every_line_of_the_record_is_a_fact_with_its_source(learned: Learned) -> None:
    facts = [getattr(learned, field.name) for field in fields(learned)]
    assert all(isinstance(fact, Fact) and isinstance(fact.source, Source) for fact in facts)


def test_what_is_not_known_of_a_board_is_taken_at_its_unkind_end() -> None:
    learned = _numbered({"M92 X": "100.000"})
    assert learned.position == Fact(Position.PLANNED, Source.ASSUMED)
    assert learned.rate_written_per_s == Fact(None, Source.ASSUMED)
    assert (learned.quick_stop.value, learned.shortest_move_steps.value) == (False, 6)


def test_a_board_that_lists_nothing_is_known_to_list_nothing() -> None:
    assert _numbered({}).listing.value is Listing.NONE
    assert _numbered({"M92 X": "100.000"}).listing.value is Listing.STORED
