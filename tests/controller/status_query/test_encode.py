import pytest

from firmware_host.controller.reply import ParserState
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.errors import InputError

DIALECT = StatusQueryDialect()


def test_a_move_is_one_straight_move_in_machine_coordinates_at_its_feed() -> None:
    assert DIALECT.move_line("A", "-12.3450", "600.5") == b"G53 G1 A-12.3450 F600.5\n"


@pytest.mark.parametrize(
    ("coordinate", "feed", "complaint"),
    [
        pytest.param("1\nG1A99", "600", "is not a decimal number", id="second-line-in-coordinate"),
        pytest.param("1 Y5", "600", "is not a decimal number", id="second-axis"),
        pytest.param("1e3", "600", "is not a decimal number", id="exponent"),
        pytest.param("nan", "600", "is not a decimal number", id="not-a-number"),
        pytest.param("", "600", "is not a decimal number", id="empty"),
        pytest.param("1", "600\n!", "not a decimal number above 0", id="byte-in-feed"),
        pytest.param("1", "0", "not a decimal number above 0", id="zero-feed"),
        pytest.param("1", "-5", "not a decimal number above 0", id="negative-feed"),
        pytest.param("1", "\u0661", "not a decimal number above 0", id="foreign-digit"),
    ],
)
def test_a_text_that_is_no_number_makes_no_line(coordinate: str, feed: str, complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        DIALECT.move_line("A", coordinate, feed)


@pytest.mark.parametrize("axis", ["a", "", "XY", "F", "$"])
def test_a_letter_that_is_no_axis_is_refused(axis: str) -> None:
    with pytest.raises(InputError, match="is not an axis letter"):
        DIALECT.move_line(axis, "1", "600")


@pytest.mark.parametrize(
    ("key", "text", "complaint"),
    [
        pytest.param("$103", "26.6667", "cannot be stored", id="four-decimals"),
        pytest.param("$103", "1\n$H", "cannot be stored", id="second-line"),
        pytest.param("$", "1", "is not a setting", id="no-number"),
        pytest.param("$RST", "*", "is not a setting", id="factory-reset"),
        pytest.param("$N0", "G1A5", "is not a setting", id="start-up-line"),
    ],
)
def test_a_setting_that_cannot_be_read_back_makes_no_line(key: str, text: str, complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        DIALECT.setting_line(key, text)


@pytest.mark.parametrize(
    ("line", "stores"),
    [
        (b"$103=26.667\n", True),
        (b"$RST=*\n", True),
        (b"$N0=G21\n", True),
        (b"G10 L20 P1 A0\n", True),
        (b"g 10l20p1a0\n", True),
        (b"G28.1\n", True),
        (b"G30.1\n", True),
        (b"$$\n", False),
        (b"$H\n", False),
        (b"G53 G1 A10 F100\n", False),
        (b"G92 A0\n", False),
        (b"G4 P0.01\n", False),
    ],
)
def test_lines_that_write_permanent_memory_are_known(line: bytes, stores: bool) -> None:
    assert DIALECT.stores(line) is stores


def test_the_keys_of_an_axis_follow_its_place() -> None:
    names = DIALECT.setting_names("A")
    assert (names.steps_per_unit, names.rate, names.acceleration) == ("$103", "$113", "$123")
    assert DIALECT.setting_names("X").steps_per_unit == "$100"


def test_only_steps_per_unit_rescale() -> None:
    assert [key for key in ("$1", "$100", "$103", "$110", "$123", "$130") if DIALECT.rescales(key)] == ["$100", "$103"]


def test_missing_modal_words_are_named() -> None:
    assert DIALECT.missing_modes(ParserState(("G0", "G20", "G90", "G94"))) == ("G21",)
    assert DIALECT.missing_modes(ParserState(("G0", "G21", "G90", "G94"))) == ()


def test_one_byte_of_the_receive_buffer_stays_free() -> None:
    assert DIALECT.usable_bytes(128) == 127


@pytest.mark.parametrize(
    ("key", "text"),
    [("$100", "250.00000"), ("$0", "5.0"), ("$58", "-5.0"), ("$340", "my machine"), ("$302", "")],
    ids=["five-decimals", "one-decimal", "negative", "text", "empty-text"],
)
def test_a_setting_goes_back_as_it_was_listed(key: str, text: str) -> None:
    assert DIALECT.listed_setting_line(key, text) == f"{key}={text}\n".encode()


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("$100", "1\n$H"),
        ("$340", "a\n$H"),
        ("$340", "a!b"),
        ("$340", "a?"),
        ("$340", "~"),
        ("$340", "\x18"),
        ("$5", "x"),
    ],
    ids=["second-line", "second-line-of-text", "hold", "status", "go-on", "reset", "text-for-a-number"],
)
def test_a_listed_text_with_bytes_that_act_at_once_is_not_sent(key: str, text: str) -> None:
    with pytest.raises(InputError, match="cannot be stored"):
        DIALECT.listed_setting_line(key, text)


@pytest.mark.parametrize(
    ("changes", "order"),
    [
        ({"$20": "1", "$103": "50", "$22": "1", "$1": "255"}, ("$22", "$1", "$20", "$103")),
        ({"$22": "0", "$101": "1", "$20": "0", "$130": "9"}, ("$20", "$130", "$22", "$101")),
        ({"$22": "3", "$20": "1.000"}, ("$22", "$20")),
    ],
    ids=["on", "off", "bits"],
)
def test_settings_are_stored_in_an_order_that_is_taken(changes: dict[str, str], order: tuple[str, ...]) -> None:
    assert DIALECT.storing_order(changes) == order
