"""What each kind of part demands of its description, and where a tapered part touches its rollers."""

from __future__ import annotations

from fractions import Fraction
from math import pi
from pathlib import Path

import pytest

from firmware_host.errors import InputError
from firmware_host.model import load_job
from firmware_host.units import PI
from tests.model.files.files_for_tests import JOB, write_all

CONE = """\
kind = "cone"
diameter = "70 mm"
large_diameter = "90 mm"
small_diameter = "50 mm"
length = "160 mm"
density = "7860 kg/m^3"
"""
STEPPED = """\
kind = "stepped"
diameter = "30 mm"
material = "steel"
cylinders = [
  { diameter = "40 mm", length = "60 mm", bore = "10 mm" },
  { diameter = "30 mm", length = "90 mm" },
]
"""
MEASURED = """\
kind = "measured"
diameter = "70 mm"
length = "160 mm"
mass = "2 kg"
inertia = "1e-3 kg*m^2"
"""
PLAIN = JOB[JOB.index('kind = "tube"') : JOB.index("[mark]")]


def described(folder: Path, text: str) -> object:
    return load_job(str(write_all(folder, job=JOB.replace(PLAIN, text + "\n")))).job.part


def test_a_cone_touches_where_its_diameter_at_that_place_says(tmp_path: Path) -> None:
    part = described(tmp_path, CONE + 'contact_from = ["40 mm", "120 mm"]')
    # The diameter falls by 40 mm over 160 mm: 80 mm at 40 mm from the large end, 60 mm at 120 mm.
    assert part.contact.exact == Fraction(70, 1000)  # type: ignore[attr-defined]
    assert part.contact_spread == Fraction(80 - 60, 80 + 60)  # type: ignore[attr-defined]
    assert part.taper == Fraction(1, 8)  # type: ignore[attr-defined]


def test_one_place_of_contact_has_no_spread_and_may_differ_from_the_mark(tmp_path: Path) -> None:
    part = described(tmp_path, CONE + 'contact_from = ["20 mm"]')
    assert part.contact.exact == Fraction(85, 1000)  # type: ignore[attr-defined]
    assert part.diameter.exact == Fraction(70, 1000)  # type: ignore[attr-defined]
    assert part.contact_spread == 0  # type: ignore[attr-defined]


def test_a_cone_that_says_nothing_of_its_contact_leaves_it_open(tmp_path: Path) -> None:
    assert not described(tmp_path, CONE).contact_known  # type: ignore[attr-defined]
    assert described(tmp_path, CONE + 'contact_diameter = "60 mm"').contact_known  # type: ignore[attr-defined]


def test_a_stepped_shaft_is_as_long_as_its_cylinders_and_as_thin_as_the_thinnest(tmp_path: Path) -> None:
    part = described(tmp_path, STEPPED)
    assert part.whole_length.exact == Fraction(150, 1000)  # type: ignore[attr-defined]
    assert part.thinnest.exact == Fraction(30, 1000)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        pytest.param(
            CONE.replace('"50 mm"', '"90 mm"'), "part.small_diameter", "90 mm must be less than", id="no taper"
        ),
        pytest.param(
            CONE.replace('"70 mm"', '"40 mm"'), "part.diameter", "40 mm must lie between", id="mark off the cone"
        ),
        pytest.param(
            CONE + 'contact_diameter = "95 mm"', "part.contact_diameter", "95 mm must lie", id="contact off the cone"
        ),
        pytest.param(CONE + 'wall = "25 mm"', "part.wall", "25 mm leaves nothing hollow", id="no hollow"),
        pytest.param(
            CONE + 'contact_from = ["170 mm"]', "part.contact_from", "170 mm lies beyond", id="place off the cone"
        ),
        pytest.param(
            CONE + 'contact_from = ["1 mm"]\ncontact_diameter = "60 mm"',
            "part.contact_from",
            "not both",
            id="two contacts",
        ),
        pytest.param(
            STEPPED.replace('"30 mm"\nmat', '"31 mm"\nmat'),
            "part.diameter",
            r"31 mm is the diameter of none of the cylinders \(40 mm, 30 mm\)",
            id="mark on no cylinder",
        ),
        pytest.param(
            STEPPED.replace('"10 mm"', '"40 mm"'),
            "part.cylinders.0.bore",
            "bore|must be less than diameter 40 mm",
            id="no wall",
        ),
        pytest.param(
            STEPPED[: STEPPED.index("cylinders")] + "cylinders = []",
            "part.cylinders",
            "at least 1 item",
            id="no cylinder",
        ),
        pytest.param(
            STEPPED + 'density = "7860 kg/m^3"', "part.material", "density or material, not both", id="two densities"
        ),
        pytest.param(MEASURED.replace('mass = "2 kg"\n', ""), "part.mass", r"give mass \(as", id="not weighed"),
        pytest.param(
            MEASURED.replace('mass = "2 kg"', 'density = "7860 kg/m^3"'),
            "part.mass",
            "needs its mass as weighed",
            id="density for a mass",
        ),
        pytest.param(MEASURED + 'material = "steel"', "part.material", "no known volume; leave it out", id="no volume"),
        pytest.param(MEASURED + 'mass_offest = "1 mm"', "part.mass_offest", "mean 'mass_offset'", id="misspelt"),
        pytest.param(
            MEASURED.replace("measured", "mesh").replace('inertia = "1e-3 kg*m^2"', "unit = 'yd'\nfile = 'p.stl'"),
            "part.unit",
            "'mm', 'cm', 'm' or 'in'",
            id="mesh unit",
        ),
    ],
)
def test_a_description_that_contradicts_itself_names_its_key(tmp_path: Path, text: str, key: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        described(tmp_path, text)
    assert caught.value.key == key
    assert caught.value.line is not None


def test_a_taped_part_keeps_its_tape_when_other_values_change() -> None:
    taped = load_job("shaft-scale").with_values({"part.diameter": None, "part.circumference": "150 mm"})
    longer = taped.with_values({"part.length": "130 mm"})
    assert longer.job.part.diameter.exact == Fraction(150, 1000) / PI
    assert taped.with_values({"part.circumference": "160 mm"}).job.part.diameter.exact == Fraction(160, 1000) / PI
    with pytest.raises(InputError, match=r"part\.circumference: give diameter or circumference, not both"):
        taped.with_values({"part.diameter": "50 mm"})


def test_a_tape_around_a_stepped_shaft_tells_which_cylinder_it_was_laid_around(tmp_path: Path) -> None:
    part = described(tmp_path, STEPPED.replace('diameter = "30 mm"\nmat', 'circumference = "94.5 mm"\nmat'))
    assert part.diameter.si == pytest.approx(0.0945 / pi, rel=1e-12)  # type: ignore[attr-defined]
    with pytest.raises(InputError, match=r"31\.83098862 mm is the diameter of none of the cylinders"):
        described(tmp_path, STEPPED.replace('diameter = "30 mm"\nmat', 'circumference = "100 mm"\nmat'))
