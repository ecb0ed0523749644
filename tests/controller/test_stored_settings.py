from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.stored_settings import (
    FIX,
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
    "$3": "5",
    "$10": "3",
    "$13": "0",
    "$20": "1",
    "$21": "0",
    "$22": "0",
    "$103": "26.667",
    "$113": "3600.000",
    "$123": "400.000",
    "$133": "360.000",
}


def settings(**changes: str) -> ControllerSettings:
    return ControllerSettings.read({**RAW, **{f"${key[1:]}": text for key, text in changes.items()}}, "A", NAMES)


def test_a_printed_number_stands_for_half_of_its_last_digit_to_either_side() -> None:
    held = settings().steps_per_unit
    assert held.value == Fraction(26667, 1000)
    assert (held.low, held.high) == (Fraction(266665, 10000), Fraction(266675, 10000))
    assert not held.is_exact
    assert held.may_be(Fraction(80, 3))  # 26.66667 is printed as 26.667
    assert not held.may_be(Fraction("26.666"))


def test_a_written_value_is_known_exactly_if_it_is_printed_so() -> None:
    held = settings().steps_per_unit.known_as(Fraction("26.667"))
    assert held.is_exact
    assert held.low == Fraction("26.667")
    with pytest.raises(SettingsMismatchError, match=r"printed 26\.667, said to be 26\.66"):
        settings().steps_per_unit.known_as(Fraction("26.66"))


def test_the_typed_view_says_what_the_texts_mean() -> None:
    held = settings()
    assert held.release_delay_ms == 25
    assert held.direction_mask == 5
    assert not held.direction_inverted  # bits 0 and 2 are X and Z
    assert held.soft_limits
    assert not held.homing
    assert settings(_1="255").release_delay_ms is None
    assert settings(_3="8").direction_inverted
    assert settings(_13="1.000").inches


@pytest.mark.parametrize(
    ("key", "text", "complaint"),
    [
        ("$103", None, r"has no axis A: it prints no setting \$103"),
        ("$1", None, r"prints no setting \$1"),
        ("$103", "0.000", r"\$103 is 0\.000: it must be greater than 0"),
        ("$123", "4e2", "prints '4e2' where a decimal number belongs"),
        ("$3", "2.500", r"\$3 is 2\.500: a whole number belongs there"),
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
        rate_units_per_min=3600.0,
        acceleration_units_per_s2=400.0,
        travel_units=360.0,
        never_released=True,
        direction_inverted=False,
        inches=False,
        soft_limits=True,
        homing=False,
    )
    assert settings(_1="255").compare(wanted) == ()
    assert settings().compare(WantedSettings()) == ()


def test_every_difference_is_told_with_the_text_that_mends_it() -> None:
    wanted = WantedSettings(
        steps_per_unit=Fraction(160, 3),
        rate_units_per_min=3600.1,
        never_released=True,
        direction_inverted=True,
        inches=False,
        soft_limits=False,
    )
    assert settings(_13="1").compare(wanted) == (
        Difference("steps per unit", "$103", "26.667", "53.333"),
        Difference("rate", "$113", "3600.000", "3600.100"),
        Difference("motor released at rest after", "$1", "25 ms", "255"),
        Difference("direction mask", "$3", "5", "13"),
        Difference("reports in inches", "$13", "1", "0"),
        Difference("soft limits", "$20", "1", "0"),
    )
    assert settings().compare(WantedSettings(soft_limits=False))[0].fix == FIX


def test_the_settings_cannot_be_changed_behind_the_back() -> None:
    with pytest.raises(TypeError, match="does not support item assignment"):
        settings().raw["$1"] = "255"  # type: ignore[index]


@given(st.integers(-(10**9), 10**9))
def test_a_text_of_three_decimals_comes_back_as_the_number_it_was_made_from(thousandths: int) -> None:
    assert Fraction(decimal_text(Fraction(thousandths, 1000))) == Fraction(thousandths, 1000)


@given(st.fractions(0, 10**6))
def test_the_text_to_write_is_one_that_will_be_printed_as_wanted(value: Fraction) -> None:
    assert StoredNumber.printed(decimal_text(value)).may_be(value)
