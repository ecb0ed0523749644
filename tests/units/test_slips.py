"""What a slip of the pen in a value gets: the unit or the number that was meant, told in the error."""

import pytest
from pydantic_core import PydanticCustomError

from firmware_host.units import parse_quantity


def told(text: str, kind: str) -> tuple[str, str]:
    with pytest.raises(PydanticCustomError, match=r".") as caught:
        parse_quantity(text, kind)
    context = caught.value.context or {}
    return str(context["problem"]), str(context["remedy"])


MEANT = [
    ("50 Mm", "length", "mm"),
    ("50 megam", "length", "mm"),
    ("50 megameter", "length", "millimeter"),
    ("50 MM", "length", "mm"),
    ("2 IN", "length", "in"),
    ('2 "', "length", "in"),
    ("3 Kg", "mass", "kg"),
    ("3 KG", "mass", "kg"),
    ("0.4 Nm", "torque", "N*m"),
    ("0.4 NM", "torque", "N*m"),
    ("0.4 nm", "torque", "N*m"),
    ("40 Ncm", "torque", "N*cm"),
    ("4 N·m", "torque", "N*m"),
    ("4 kgcm", "torque", "kgf*cm"),
    ("4 kg-cm", "torque", "kgf*cm"),
    ("60 oz-in", "torque", "ozf*in"),
    ("10 kg", "force", "kgf"),
    ("68 gcm2", "inertia", "g*cm^2"),
    ("68 g·cm²", "inertia", "g*cm^2"),
    ("60 RPM", "angular speed", "rpm"),
    ("90 Deg/s", "angular speed", "deg/s"),
    ("90 kilodegree", "angle", "degree"),
    ("90 kdeg", "angle", "deg"),
    ("40 hz", "rate", "Hz"),
    ("40 KHZ", "rate", "kHz"),
    ("5 S", "time", "s"),
    ("5 H", "time", "h"),
    ("1 ma", "current", "mA"),
    ("24 v", "voltage", "V"),
    ("2.8 MH", "inductance", "mH"),
    ("1.4 OHM", "resistance", "ohm"),
    ("2200 uf", "capacitance", "uF"),
    ("25 C", "temperature", "degC"),
    ("5 (mm", "length", "mm"),
]


@pytest.mark.parametrize(("text", "kind", "meant"), MEANT, ids=[f"{kind}-{text}" for text, kind, _ in MEANT])
def test_a_unit_that_is_none_gets_the_one_that_is_meant(text: str, kind: str, meant: str) -> None:
    problem, remedy = told(text, kind)
    assert "is not known" in problem or "is not a unit" in problem
    assert f'Did you mean "{meant}"?' in remedy
    assert parse_quantity(f"1 {meant}", kind).exact > 0


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("5 furlong", "length", "Units of length: m, cm, mm, um, nm, in, ft; "),
        ("50 Nm", "length", "That is a unit of torque; write a length like"),
        ("5 deg", "length", "That is a unit of angle; write a length like"),
        ("5 mm", "torque", "That is a unit of length; write a torque like"),
        ("5 g", "inertia", "That is a unit of mass; write an inertia like"),
    ],
    ids=["nothing-near", "torque-for-length", "angle-for-length", "length-for-torque", "mass-for-inertia"],
)
def test_a_unit_that_nothing_is_near_to_gets_all_of_its_kind_or_its_own_kind(text: str, kind: str, words: str) -> None:
    assert words in told(text, kind)[1]


@pytest.mark.parametrize(
    "text",
    ["5 Tm", "5 dam", "5 kilomm", "5 mmm", "5 square m", "5 m per m", "5 mms", "5 two_pi"],
    ids=str,
)
def test_no_prefix_and_no_word_makes_a_unit_of_a_unit(text: str) -> None:
    assert "is not known" in told(text, "length")[0]


@pytest.mark.parametrize(
    ("text", "kind", "pair"),
    [
        ("50 mm*mm/mm", "length", "mm and mm"),
        ("50 mm*m/in", "length", "mm and in"),
        ("50 mm/mm*mm", "length", "mm and mm"),
        ("50 mm^2*mm^-1", "length", "mm and mm"),
        ("50 mm**2 * mm**-1", "length", "mm and mm"),
        ("50 m*(mm/(mm))", "length", "m and mm"),
        ("50 m/(s/s)", "length", "s and s"),
        ("2 N*m/m", "force", "m and m"),
        ("2 kg*kg/g", "mass", "kg and g"),
        ("2 min/s*deg", "angle", "min and s"),
    ],
    ids=lambda value: str(value),
)
def test_a_product_in_which_a_unit_cancels_is_refused(text: str, kind: str, pair: str) -> None:
    assert told(text, kind)[0] == f"in {text.split(' ', 1)[1]!r}, {pair} cancel"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("5 kg*m^2/s^2", "torque"),
        ("90 deg/s/s", "angular acceleration"),
        ("5 1/(s)", "rate"),
        ("2 kg*m/s*1/s", "force"),
        ("2 K*s/(N*m)", "thermal resistance"),
    ],
    ids=str,
)
def test_a_product_in_which_nothing_cancels_is_read(text: str, kind: str) -> None:
    assert parse_quantity(text, kind).exact > 0


NUMBERS = [
    ("1,5 mm", "has a comma in its number", 'Did you mean "1.5 mm"?'),
    ("1,500 mm", "has a comma in its number", 'Write "1500 mm" or "1.500 mm"'),
    ("0,500 mm", "has a comma in its number", 'Did you mean "0.500 mm"?'),
    ("1.500,5 mm", "has a comma in its number", "Write a decimal point, and nothing between the thousands"),
    ("1_000 mm", "has an underscore in its number", 'Did you mean "1000 mm"?'),
    ("1 000 mm", "has a gap in its number", 'Did you mean "1000 mm"?'),
    ("1\u202f000.5 mm", "has a gap in its number", 'Did you mean "1000.5 mm"?'),
    ("1'000 mm", "has a gap in its number", 'Did you mean "1000 mm"?'),
    ("1 1/2 in", "has a whole number beside a fraction", 'Did you mean "3/2 in"?'),
    ("\u0664\u0668 mm", "has digits other than 0 to 9", 'Did you mean "48 mm"?'),
    ("\uff14\uff18 mm", "has digits other than 0 to 9", 'Did you mean "48 mm"?'),
    ("4\u0968 mm", "has digits other than 0 to 9", 'Did you mean "42 mm"?'),
    ("1e\u0663 mm", "has digits other than 0 to 9", 'Did you mean "1e3 mm"?'),
    ("3/\u0664 in", "has digits other than 0 to 9", 'Did you mean "3/4 in"?'),
    ("\u22125 mm", "begins with a dash that is no minus", 'Did you mean "-5 mm"?'),
    ("5.5.5 mm", "has more than one decimal point", 'Write a string with a unit, like "48.2 mm"'),
    ("1e-300 mm", "is out of any workshop's range", 'Write a length like "48.2 mm"'),
    ("inf mm", "does not begin with a finite number", 'Write a string with a unit, like "48.2 mm"'),
    ("nan mm", "does not begin with a finite number", 'Write a string with a unit, like "48.2 mm"'),
    ("\u00bd mm", "does not begin with a finite number", 'Write a string with a unit, like "48.2 mm"'),
]


@pytest.mark.parametrize(("text", "problem", "remedy"), NUMBERS, ids=[ascii(text) for text, *_ in NUMBERS])
def test_a_number_that_is_none_is_told_as_what_it_is(text: str, problem: str, remedy: str) -> None:
    assert told(text, "length") == (f"{text!r} {problem}", remedy)
