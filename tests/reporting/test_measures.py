"""Numbers as a person reads them: sensible digits, no exponent, in the reader's units."""

from __future__ import annotations

import math

import pytest

from firmware_host.reporting.document import Column, Document, Figure, Table
from firmware_host.reporting.measures import Units, listed, number, percent, seconds
from tests.reporting.shown import printed

METRIC, INCH = Units.METRIC, Units.INCH


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0, 3, "0"),
        (0.0004983, 3, "0.000498"),
        (9.9996, 3, "10.0"),
        (27.692, 4, "27.69"),
        (71261.0, 3, "71261"),
        (-1.234, 2, "-1.2"),
        (math.inf, 3, "no end"),
    ],
    ids=str,
)
def test_a_number_has_its_digits_and_no_exponent(value: float, digits: int, text: str) -> None:
    assert number(value, digits) == text


@pytest.mark.parametrize(
    ("units", "value", "limit", "unit", "texts"),
    [
        (METRIC, 0.000112, 3e-5, "m", ("0.112 mm", "0.030 mm")),
        (METRIC, 0.05, 0.08, "m", ("50 mm", "80 mm")),
        (METRIC, 1.676e4, 2.8e4, "Hz", ("16.8 kHz", "28.0 kHz")),
        (METRIC, 2.5e-6, 2.984e-5, "s", ("2.5 us", "29.8 us")),
        (METRIC, 0.00016, 0.1497, "N*m", ("0.0002 N*m", "0.15 N*m")),
        (METRIC, 8.081, 10.0, "", ("8.1", "10.0")),
        (METRIC, math.inf, 0.35, "", ("no end", "0.350")),
        (METRIC, 0.1, 0.0, "N", ("0.1 N", "0 N")),
        # 1 in = 25.4 mm; 1 lbf = 4.4482216 N; 1 N*m = 8.8507458 lbf*in = 141.61193 ozf*in
        (INCH, 0.0254, 0.0508, "m", ("1 in", "2 in")),
        (INCH, 44.482216, 444.82216, "N", ("10 lbf", "100 lbf")),
        (INCH, 0.1, 0.5, "N*m", ("14.2 ozf*in", "70.8 ozf*in")),
        (INCH, 1.0, 6.0, "N*m", ("8.9 lbf*in", "53.1 lbf*in")),
        (INCH, 40.66, 90.0, "K", ("40.7 K", "90.0 K")),
    ],
    ids=str,
)
def test_a_value_and_its_limit_have_one_unit_and_the_limit_s_decimals(
    units: Units, value: float, limit: float, unit: str, texts: tuple[str, str]
) -> None:
    assert units.pair(value, limit, unit) == texts


def test_lengths_of_a_table_and_a_figure_are_shown_in_inches_with_one_decimal_more() -> None:
    table = Table("", "T", (Column("a", "arc", "mm", ".3f"), Column("d", "at", "deg", ".1f")), ((25.4, 90.0),))
    document = Document((table, Figure("w", "Wide", 12.7, "mm", ".2f", brief=True)))
    assert [line.split() for line in printed(document).splitlines()[1:]] == [
        ["arc", "mm", "at", "deg"], ["25.400", "90.0"], ["Wide:", "12.70", "mm"]
    ]  # fmt: skip
    assert [line.split() for line in printed(document, units=INCH).splitlines()[1:]] == [
        ["arc", "in", "at", "deg"], ["1.0000", "90.0"], ["Wide:", "0.500", "in"]
    ]  # fmt: skip


def test_millimetres_in_a_sentence_of_the_planning_are_told_in_inches_and_nothing_else_is_touched() -> None:
    told = "0.254 mm at each seam for every 1 %; 110 mm lens, 3 mm^2, x25.4 mm"
    assert METRIC.told(told) == told
    assert INCH.told(told) == "0.0100 in at each seam for every 1 %; 4.33 in lens, 3 mm^2, x25.4 mm"


@pytest.mark.parametrize(
    ("duration", "text"),
    [
        (0.0, "0 s"),
        (0.0179, "18 ms"),
        (0.6085, "0.609 s"),
        (42.3, "42 s"),
        (185, "3 min 05 s"),
        (7800, "2 h 10 min"),
    ],
    ids=str,
)
def test_a_time_is_told_as_one_says_it(duration: float, text: str) -> None:
    assert seconds(duration) == text


def test_names_are_listed_as_in_a_sentence_and_a_part_in_whole_percents() -> None:
    assert [listed(names) for names in (["a"], ["a", "b"], ["a", "b", "c"])] == ["a", "a and b", "a, b and c"]
    assert (percent(0.475), percent(-16.16), percent(-math.inf)) == ("48 %", "-1616 %", "none")
