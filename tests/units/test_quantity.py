"""Quantities: exact values, SI against scipy.constants, and every text that must be refused."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError
from pydantic_core import PydanticCustomError
from scipy import constants

from firmware_host.units import KINDS, PI, Angle, Length, Quantity, Torque, parse_number, parse_quantity


class Sample(BaseModel):
    length: Length | None = None
    angle: Angle | None = None
    torque: Torque | None = None


def read_or_remedy(text: str, kind: str) -> Quantity | str:
    try:
        return parse_quantity(text, kind)
    except PydanticCustomError as error:
        return str((error.context or {})["remedy"])


def remedy_of(text: str, kind: str) -> str:
    outcome = read_or_remedy(text, kind)
    assert isinstance(outcome, str), f"{text!r} was read as a {kind}"
    return outcome


@pytest.mark.parametrize(
    ("text", "kind", "exact"),
    [
        # International yard and pound agreement, 1959: 1 in = 25.4 mm = 127/5000 m.
        pytest.param("1 in", "length", Fraction(127, 5000), id="inch"),
        pytest.param("3/8 in", "length", Fraction(3, 8) * Fraction(127, 5000), id="three-eighths-of-an-inch"),
        pytest.param("1 ft", "length", Fraction(381, 1250), id="foot"),
        pytest.param("48.2 mm", "length", Fraction(241, 5000), id="millimetres"),
        pytest.param("2.5 µm", "length", Fraction(25, 10**7), id="micro-sign"),
        pytest.param("2.5 μm", "length", Fraction(25, 10**7), id="greek-mu"),
        pytest.param(".5 cm", "length", Fraction(1, 200), id="no-leading-digit"),
        pytest.param("1e-3 m", "length", Fraction(1, 1000), id="power-of-ten"),
        # 360/1.8 = 200: a step angle is a whole number of steps per turn, exactly.
        pytest.param("1.8 deg", "angle", Fraction(1, 200), id="step-angle"),
        pytest.param("60 arcmin", "angle", Fraction(1, 360), id="arcminutes"),
        pytest.param("1296000 arcsec", "angle", Fraction(1), id="arcseconds-of-a-turn"),
        pytest.param("-2 turn", "angle", Fraction(-2), id="turns-back"),
        pytest.param("60 rpm", "angular speed", Fraction(1), id="rpm"),
        pytest.param("90 deg/s^2", "angular acceleration", Fraction(1, 4), id="degrees-per-second-squared"),
        pytest.param("90 deg/s**2", "angular acceleration", Fraction(1, 4), id="python-power"),
        pytest.param("68 g*cm^2", "inertia", Fraction(68, 10**7), id="gram-square-centimetre"),
        pytest.param("7.86 g/cm^3", "density", Fraction(7860), id="gram-per-cubic-centimetre"),
        pytest.param("40 kHz", "rate", Fraction(40000), id="kilohertz"),
        pytest.param("40000 1/s", "rate", Fraction(40000), id="per-second"),
        pytest.param(
            "1 lbf*in", "torque", Fraction("0.45359237") * Fraction("9.80665") * Fraction("0.0254"), id="lbf-in"
        ),
        pytest.param(
            "16 ozf*in", "torque", Fraction("0.45359237") * Fraction("9.80665") * Fraction("0.0254"), id="ozf"
        ),
        pytest.param("1 kgf*cm", "torque", Fraction("9.80665") / 100, id="kilogram-force-centimetre"),
        pytest.param("1 kg*m^2/s^2", "torque", Fraction(1), id="torque-in-base-units"),
        pytest.param("1.5 A", "current", Fraction(3, 2), id="ampere"),
        pytest.param("2.8 mH", "inductance", Fraction(28, 10**4), id="millihenry"),
        pytest.param("1.4 Ω", "resistance", Fraction(7, 5), id="ohm-sign"),
        pytest.param("  5   mm ", "length", Fraction(1, 200), id="spaces"),
        pytest.param("2200 µF", "capacitance", Fraction(22, 10**4), id="microfarad"),
        pytest.param("-5 °C", "temperature", Fraction(-5), id="below-freezing"),
        pytest.param("4.5 K/W", "thermal resistance", Fraction(9, 2), id="kelvin-per-watt"),
    ],
)
def test_a_quantity_is_read_exactly(text: str, kind: str, exact: Fraction) -> None:
    assert parse_quantity(text, kind).exact == exact


@pytest.mark.parametrize(
    ("unit", "kind", "reference"),
    # Outside source: scipy.constants (CODATA and the exact definitions of the customary units).
    [
        ("in", "length", constants.inch),
        ("ft", "length", constants.foot),
        ("lb", "mass", constants.pound),
        ("oz", "mass", constants.oz),
        ("lbf", "force", constants.pound_force),
        ("ozf", "force", constants.pound_force / 16),
        ("kgf", "force", constants.kilogram_force),
        ("kgf", "force", constants.g),
        ("deg", "angle", constants.degree),
        ("arcmin", "angle", constants.arcminute),
        ("arcsec", "angle", constants.arcsecond),
        ("rpm", "angular speed", 2 * math.pi / constants.minute),
        ("h", "time", constants.hour),
        ("lbf*ft", "torque", constants.pound_force * constants.foot),
        ("lb*in^2", "inertia", constants.pound * constants.inch**2),
        ("lb/in^3", "density", constants.pound / constants.inch**3),
        ("rad", "angle", 1.0),
        ("rad/s", "angular speed", 1.0),
        ("turn/s^2", "angular acceleration", 2 * math.pi),
    ],
)
def test_si_values_agree_with_scipy_constants(unit: str, kind: str, reference: float) -> None:
    assert parse_quantity(f"1 {unit}", kind).si == pytest.approx(reference, rel=1e-15)


def test_pi_has_a_hundred_right_decimals() -> None:
    # Independent computation: Machin's formula pi = 16 arctan(1/5) - 4 arctan(1/239) in integers, 120 decimals.
    one = 10**120

    def arctan_of_inverse(number: int) -> int:
        total, power, k = 0, one // number, 0
        while power:
            total += (-1) ** k * (power // (2 * k + 1))
            power //= number * number
            k += 1
        return total

    machin = Fraction(16 * arctan_of_inverse(5) - 4 * arctan_of_inverse(239), one)
    assert abs(PI - machin) < Fraction(1, 10**100)


def test_two_hundred_steps_by_sixteen_microsteps_are_exact_in_degrees_and_in_radians_nearly() -> None:
    microstep = parse_quantity("1.8 deg", "angle").exact / 16
    assert microstep == Fraction(1, 3200)
    turn = parse_quantity("6.283185307179586476925286766559 rad", "angle").exact
    assert turn != 1
    assert abs(turn - 1) < Fraction(1, 10**29)


BAD_TEXTS = [
    ("48.2", "length", "has no unit"),
    ("", "length", "does not begin with a finite number"),
    ("mm", "length", "does not begin with a finite number"),
    ("nan mm", "length", "does not begin with a finite number"),
    ("inf mm", "length", "does not begin with a finite number"),
    ("-inf mm", "length", "does not begin with a finite number"),
    ("1e99 mm", "length", "out of any workshop's range"),
    ("1e-30 mm", "length", "out of any workshop's range"),
    ("1e400 mm", "length", "'1e400 mm' is out of any workshop's range"),
    ("-1E+400 mm", "length", "out of any workshop's range"),
    ("1e-300 s", "time", "'1e-300 s' is out of any workshop's range"),
    (f"{'9' * 31} mm", "length", "out of any workshop's range"),
    ("1,5 mm", "length", "has a comma in its number"),
    ("1_000 mm", "length", "has an underscore in its number"),
    ("0x10 mm", "length", "is not a unit|is not known"),
    ("1/0 mm", "length", "divides by zero"),
    ("5 furlong", "length", "is not known"),
    ("5 m^2", "length", "is not a unit of length"),
    ("5 deg", "length", "is not a unit of length"),
    ("5 m2", "length", "is not a unit"),
    ("5 (mm", "length", "is not known"),
    ("5 __import__('os')", "length", "is not a unit"),
    ("5 mm; M3", "length", "is not a unit"),
    ("5 mm\n6 mm", "length", "is not a unit"),
    ("5 m^9^9^9", "length", "is not a unit"),
    ("5 mm^(9*9*9*9*9*9*9)*m/m^(9*9*9*9*9*9*9)", "length", "is not a unit"),
    ("5 " + "m*" * 30 + "m", "length", "is not a unit"),
    ("5 mm" + " " * 10 + "m" * 100, "length", "too long"),
    ("0.45 J", "torque", "energy, not of torque"),
    ("0.45 kJ", "torque", "energy, not of torque"),
    ("0.45 joule", "torque", "energy, not of torque"),
    ("0.45 W*s", "torque", "energy, not of torque"),
    ("0.45 Wh", "torque", "energy, not of torque"),
    ("0.45 V*A*s", "torque", "energy, not of torque"),
    ("0.45 N*m*rad", "torque", "is not a unit of torque"),
    ("64 oz*in", "torque", "is not a unit of torque"),
    ("4.5 kg*cm", "torque", "is not a unit of torque"),
    ("10 lb", "force", "is not a unit of force"),
    ("10 Hz", "angular speed", "is not a unit of angular speed"),
    ("10 1/s", "angular speed", "is not a unit of angular speed"),
    ("60 rpm", "rate", "is not a unit of rate"),
    ("0.5 mm/mm", "angle", "in 'mm/mm', mm and mm cancel"),
    ("1 1", "angle", "is not a unit of angle"),
    ("20 degC", "length", "is not a unit of length"),
    ("353 K", "temperature", "'K' is not a unit of temperature"),
    ("25 C", "temperature", "unit 'C' is not known"),
    ("3 degC/W", "thermal resistance", "not a unit of thermal resistance"),
]


@pytest.mark.parametrize(
    ("text", "kind", "words"), BAD_TEXTS, ids=[f"{kind}-{text[:20]!r}" for text, kind, _ in BAD_TEXTS]
)
def test_a_text_that_is_no_such_quantity_is_refused(text: str, kind: str, words: str) -> None:
    with pytest.raises(PydanticCustomError, match=words):
        parse_quantity(text, kind)


def test_a_refusal_shows_how_to_write_it() -> None:
    assert remedy_of("48.2", "length") == 'Write a string with a unit, like "48.2 mm"'
    assert '"0.45 N*m"' in remedy_of("0.45 J", "torque")
    assert "ozf" in remedy_of("64 oz*in", "torque")
    assert "kgf" in remedy_of("4.5 kg*cm", "torque")
    assert "lbf" in remedy_of("10 lb", "force")
    assert "rpm" in remedy_of("10 Hz", "angular speed")


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_every_kind_reads_its_own_example(kind: object) -> None:
    assert isinstance(kind, type(KINDS["length"]))
    quantity = parse_quantity(kind.example, kind.name)
    assert quantity.exact > 0
    assert str(quantity) == kind.example


@pytest.mark.parametrize(("text", "words"), [("0 mm", "greater than zero"), ("-1 mm", "greater than zero")], ids=str)
def test_a_length_is_positive(text: str, words: str) -> None:
    with pytest.raises(PydanticCustomError, match=words):
        parse_quantity(text, "length", "positive")


def test_a_length_or_zero_may_be_zero_but_not_negative() -> None:
    assert parse_quantity("0 mm", "length", "non-negative").exact == 0
    with pytest.raises(PydanticCustomError, match="must not be negative"):
        parse_quantity("-0.001 mm", "length", "non-negative")


@pytest.mark.parametrize("value", [48.2, 48, True, ["48 mm"], {"value": 48}], ids=repr)
def test_a_field_takes_nothing_but_a_text_with_a_unit(value: object) -> None:
    with pytest.raises(ValidationError, match=r"unit is missing|instead of a length"):
        Sample.model_validate({"length": value})


def test_a_bare_number_is_no_angle() -> None:
    with pytest.raises(ValidationError, match=r"bare number 1\.57: the unit is missing"):
        Sample.model_validate({"angle": 1.57})


def test_a_quantity_of_another_kind_is_no_torque() -> None:
    with pytest.raises(ValidationError, match="is of kind length, not torque"):
        Sample.model_validate({"torque": parse_quantity("1 m", "length")})


def test_a_quantity_turns_into_another_unit_of_its_kind_only() -> None:
    quantity = parse_quantity("0.5 in", "length")
    assert quantity.to("mm") == 12.7
    assert parse_quantity("0.25 turn", "angle").to("deg") == 90.0
    with pytest.raises(PydanticCustomError, match="is not a unit of length"):
        quantity.to("deg")


def test_the_schema_of_a_field_says_its_kind_and_gives_an_example() -> None:
    field = Sample.model_json_schema()["properties"]["torque"]["anyOf"][0]
    assert field["type"] == "string"
    assert field["examples"] == ["0.45 N*m"]
    assert "torque" in field["description"]


@given(
    value=st.fractions(min_value=Fraction(1, 1000), max_value=1000, max_denominator=10**6),
    unit=st.sampled_from(["mm", "in", "m", "ft", "cm"]),
)
def test_writing_a_fraction_and_reading_it_back_loses_nothing(value: Fraction, unit: str) -> None:
    size = {
        "mm": Fraction(1, 1000),
        "in": Fraction(127, 5000),
        "m": Fraction(1),
        "ft": Fraction(381, 1250),
        "cm": Fraction(1, 100),
    }
    quantity = parse_quantity(f"{value} {unit}", "length")
    assert quantity.exact == value * size[unit]
    assert Sample.model_validate({"length": quantity}).length == quantity
    assert isinstance(quantity, Quantity)


@given(text=st.text(max_size=60))
def test_no_text_makes_the_reader_crash(text: str) -> None:
    for kind in ("length", "torque", "angle"):
        outcome = read_or_remedy(text, kind)
        assert outcome
        assert isinstance(outcome, str) or abs(outcome.exact) < 10**12


@given(unit=st.text(alphabet="mNsdeg*/^() 1-", min_size=1, max_size=44))
def test_no_unit_text_makes_the_reader_crash_or_hang(unit: str) -> None:
    outcome = read_or_remedy(f"1 {unit}", "length")
    assert outcome
    assert isinstance(outcome, str) or outcome.exact > 0


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        # BIPM: t/degF = 9/5 t/degC + 32, a scale with another zero and no multiple of degC.
        pytest.param("212 degF", Fraction(100), id="water boils"),
        pytest.param("32 °F", Fraction(0), id="ice melts"),
        pytest.param("-40 degF", Fraction(-40), id="where both meet"),
        pytest.param("80 degC", Fraction(80), id="celsius"),
    ],
)
def test_a_temperature_counts_from_its_own_scales_zero(text: str, celsius: Fraction) -> None:
    read = parse_quantity(text, "temperature")
    assert read.exact == celsius
    assert read.to(text.split()[1]) == float(text.split()[0])


@pytest.mark.parametrize(
    ("text", "value"),
    [
        pytest.param("12", 12.0, id="whole"),
        pytest.param("-3/8", -0.375, id="fraction"),
        pytest.param("1e3", 1e3, id="power"),
    ],
)
def test_a_number_is_read_bare(text: str, value: float) -> None:
    assert parse_number(text) == value


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        pytest.param("12 mm", "is not a number", id="with a unit"),
        pytest.param("1,5", "has a comma in its number", id="comma"),
        pytest.param("1/0", "divides by zero", id="by zero"),
        pytest.param("", "is not a number", id="nothing"),
        pytest.param("nan", "is not a number", id="nan"),
    ],
)
def test_what_is_no_bare_number_is_refused(text: str, problem: str) -> None:
    with pytest.raises(PydanticCustomError, match=problem):
        parse_number(text)
