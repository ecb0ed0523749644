"""What is known of a board: each line with where it comes from, for both mechanisms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from types import MappingProxyType

import pytest

from firmware_host.controller.dialect import Dialect
from firmware_host.controller.learned import Fact, Learned, Listing, Position, Source
from firmware_host.controller.numbered_line.boards import Answers, Board
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.numbered_line.learned import Asked
from firmware_host.controller.numbered_line.learned import learned_of as learned_of_numbered
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.status_query.learned import Heard
from firmware_host.controller.status_query.learned import learned_of as learned_of_state_word
from firmware_host.controller.stored_settings import ControllerSettings, StatedSettings, StoredNumber

_NUMBER = StoredNumber.printed("100.000")


def _settings(dialect: Dialect, raw: Mapping[str, str], stated: StatedSettings) -> ControllerSettings:
    names = dialect.setting_names("X")
    return ControllerSettings(MappingProxyType(dict(raw)), "X", names, _NUMBER, _NUMBER, _NUMBER, stated=stated)


def _numbered(answers: Answers, stated: StatedSettings | None = None, *, homed: bool | None = None) -> Learned:
    settings = _settings(NumberedLineDialect(), answers.printed, stated or StatedSettings())
    return learned_of_numbered(
        Asked(Board(), answers, settings, 0.006, homed, (stated.rates_per_s if stated else None, None))
    )


def _state_word() -> Learned:
    settings = _settings(StatusQueryDialect(), {"$100": "100.000"}, StatedSettings())
    return learned_of_state_word(Heard("XYZ", False, None, 0.004, None), settings)


@pytest.mark.parametrize(
    "learned", [pytest.param(_numbered(Answers()), id="numbered"), pytest.param(_state_word(), id="state-word")]
)
def test_every_line_of_the_record_is_a_fact_with_its_source(learned: Learned) -> None:
    facts = [getattr(learned, field.name) for field in fields(learned)]
    assert all(isinstance(fact, Fact) and isinstance(fact.source, Source) for fact in facts)


def test_what_is_not_known_of_a_board_is_taken_at_its_unkind_end() -> None:
    learned = _numbered(Answers())
    assert learned.position == Fact(Position.PLANNED, Source.ASSUMED)
    assert learned.rate_written_per_s.value is None
    assert (learned.quick_stop.value, learned.shortest_move_steps.value) == (False, 6)
    assert learned.shortest_move_steps.note == "state link.stated.shortest_move in the machine file"


def test_what_the_machine_file_states_takes_the_place_of_what_is_not_known() -> None:
    stated = StatedSettings(shortest_move_steps=2, quick_stop=True, rates_per_s=False)
    learned = _numbered(Answers(), stated)
    assert learned.shortest_move_steps == Fact(2, Source.STATED)
    assert learned.quick_stop == Fact(True, Source.STATED)
    assert learned.rate_written_per_s == Fact(False, Source.STATED)


def test_a_board_that_lists_nothing_is_known_to_list_nothing() -> None:
    assert _numbered(Answers(lists_stored=True)).listing.value is Listing.NONE
    assert _numbered(Answers(lists_stored=True, printed={"M92 X": "1"})).listing.value is Listing.STORED
