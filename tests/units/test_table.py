"""The table of usual units against pint and the definitions that both come from."""

import subprocess
import sys
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from firmware_host.units import KINDS, parse_quantity
from firmware_host.units.registry import all_names, size_of
from firmware_host.units.table import SIZES
from tests.units.table_text import TABLE, table_text

USUAL = [(kind, unit) for kind, sizes in SIZES.items() for unit in sizes]


def test_the_table_is_what_pint_makes_of_the_definitions() -> None:
    """To write it anew: python -m tests.units.table_text."""
    assert TABLE.read_text("utf-8") == table_text()


def test_every_kind_and_every_named_unit_but_those_of_energy_and_kelvin_is_in_the_table() -> None:
    assert set(SIZES) == set(KINDS)
    named = {unit for sizes in SIZES.values() for unit in sizes}
    assert {plain for name, plain in all_names().items() if name not in named} == {
        "joule",
        "kilojoule",
        "watt",
        "kilowatt",
        "watt_hour",
        "kelvin",
    }


@given(
    number=st.decimals(min_value="0.001", max_value="999999", places=3),
    divisor=st.integers(1, 1000),
    usual=st.sampled_from(USUAL),
)
def test_the_table_and_pint_read_the_same_text_as_the_same_fraction(
    number: object, divisor: int, usual: tuple[str, str]
) -> None:
    kind, unit = usual
    by_pint = Fraction(str(number)) / divisor * size_of(unit, KINDS[kind])
    assume(Fraction(1, 10**12) < by_pint < 10**12)
    assert parse_quantity(f"{number}/{divisor} {unit}", kind).exact == by_pint


@given(usual=st.sampled_from(USUAL), by_name=st.booleans())
def test_a_unit_that_is_spelt_another_way_has_the_same_size(usual: tuple[str, str], by_name: bool) -> None:
    """What is not in the table as it is written goes to pint: spaces around the signs, two stars, brackets."""
    kind, unit = usual
    other = unit.replace("*", " * ").replace("^", "**") if by_name else f"({unit})"
    assert parse_quantity(f"3 {other}", kind).exact == parse_quantity(f"3 {unit}", kind).exact


@pytest.mark.parametrize("text", ["48.2 mm", "0.45 N*m", "68 g*cm^2"], ids=str)
def test_pint_is_not_loaded_for_what_is_usual(text: str) -> None:
    kind = next(name for name, sizes in SIZES.items() if text.split()[1] in sizes)
    code = (
        f"import sys; from firmware_host.units import parse_quantity; parse_quantity({text!r}, {kind!r});"
        "print({'pint', 'numpy'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == "set()\n"


def test_the_shipped_profiles_are_read_without_pint() -> None:
    code = (
        "import sys; from firmware_host import list_profiles, load_job;"
        "print([load_job(each.name).job.name for each in list_profiles('jobs')] and 'pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == "False\n"
