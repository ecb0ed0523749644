from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.stored_settings import (
    ControllerSettings,
    Difference,
    StoredNumber,
    WantedSettings,
    decimal_text,
)
from firmware_host.errors import ControllerError, SettingsMismatchError

NAMES = StatusQueryDialect().setting_names("A")
RAW = {
    "$1": "25",
    "$13": "0",
    "$20": "1",
    "$22": "0",
    "$103": "26.667",
    "$113": "3600.000",
    "$123": "400.000",
}


def settings(**changes: str) -> ControllerSettings:
    return ControllerSettings.read({**RAW, **{f"${key[1:]}": text for key, text in changes.items()}}, "A", NAMES)


def test_a_printed_number_stands_for_half_of_its_last_digit_to_either_side() -> None:
    stored = settings().steps_per_unit
    assert stored.value == Fraction(26667, 1000)
    assert (stored.low, stored.high) == (Fraction(266665, 10000), Fraction(266675, 10000))
    assert not stored.is_exact
    assert stored.may_be(Fraction(80, 3))  # 26.66667 is printed as 26.667
    assert not stored.may_be(Fraction("26.666"))


def test_a_written_value_is_known_exactly_if_it_is_printed_so() -> None:
    stored = settings().steps_per_unit.known_as(Fraction("26.667"))
    assert stored.is_exact
    assert stored.low == Fraction("26.667")
    with pytest.raises(SettingsMismatchError, match=r"the controller prints 26\.667, expected 26\.66"):
        settings().steps_per_unit.known_as(Fraction("26.66"))


def test_the_typed_view_says_what_the_texts_mean() -> None:
    stored = settings()
    assert stored.release_delay_ms == 25
    assert stored.soft_limits
    assert not stored.homing
    assert settings(_1="255").release_delay_ms is None
    assert settings(_13="1.000").inches


@pytest.mark.parametrize(
    ("key", "text", "complaint"),
    [
        ("$103", None, r"has no axis A: it prints no setting \$103"),
        ("$1", None, r"prints no setting \$1"),
        ("$103", "0.000", r"\$103 is 0\.000: it must be greater than 0"),
        ("$123", "4e2", "prints '4e2' where a decimal number is expected"),
        ("$1", "2.500", r"\$1 is 2\.500: it must be a whole number"),
    ],
    ids=["no-axis", "missing", "zero-steps", "no-number", "no-whole-number"],
)
def test_settings_that_cannot_be_used_are_named(key: str, text: str | None, complaint: str) -> None:
    raw = {name: value for name, value in RAW.items() if name != key}
    if text is not None:
        raw[key] = text
    with pytest.raises(ControllerError, match=complaint):
        ControllerSettings.read(raw, "A", NAMES)


def test_settings_as_wanted_differ_in_nothing() -> None:
    wanted = WantedSettings(
        steps_per_unit=Fraction(80, 3),
        never_released=True,
        inches=False,
        soft_limits=True,
        homing=False,
    )
    assert settings(_1="255").compare(wanted) == ()
    assert settings().compare(WantedSettings()) == ()


def test_every_difference_is_told_with_the_text_that_mends_it() -> None:
    wanted = WantedSettings(
        steps_per_unit=Fraction(160, 3),
        never_released=True,
        inches=False,
        soft_limits=False,
    )
    assert settings(_13="1").compare(wanted) == (
        Difference("steps per unit", "$103", "26.667", "53.333"),
        Difference("motor release delay", "$1", "25 ms", "255"),
        Difference("reports in inches", "$13", "1", "0"),
        Difference("soft limits", "$20", "1", "0"),
    )


def test_the_settings_cannot_be_changed_behind_the_back() -> None:
    with pytest.raises(TypeError, match="does not support item assignment"):
        settings().raw["$1"] = "255"  # type: ignore[index]


@given(st.integers(-(10**9), 10**9))
def test_a_text_of_three_decimals_comes_back_as_the_number_it_was_made_from(thousandths: int) -> None:
    assert Fraction(decimal_text(Fraction(thousandths, 1000))) == Fraction(thousandths, 1000)


@given(st.fractions(0, 10**6))
def test_the_text_to_write_is_one_that_will_be_printed_as_wanted(value: Fraction) -> None:
    assert StoredNumber.printed(decimal_text(value)).may_be(value)
