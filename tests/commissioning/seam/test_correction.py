"""The number to write; a wrong tooth count, a wrong microstep switch and a slipping belt are told apart."""

from __future__ import annotations

import math

import pytest

from firmware_host.commissioning.seam.diagnosis import Suspect, diagnose
from firmware_host.commissioning.seam.marked import marked_part
from firmware_host.commissioning.seam.readings import PartDiameter, PartLine, RollerDiameter, SeamReading, ShaftLine
from firmware_host.commissioning.sensible import NO_WHEEL, sensible_ratios
from tests.commissioning.seam.cases import in_a_chuck, parts

MACHINE = in_a_chuck(True, 40, 8).machine  # a belt of 20 to 60 teeth, 16 microsteps, 200 full steps


def found_by(amount: float, read_to: float = 1e-3) -> Suspect:
    """What is told of a chuck that turns (1 + amount) times as far as commanded, by lines on it and on the part."""
    setup, layout = parts()[0]
    part = marked_part(setup, layout)
    way = 20 * math.pi * part.diameter * amount
    readings = [
        PartDiameter(5e-5, part.diameter),
        PartLine(read_to, way, 20),
        ShaftLine(math.radians(1), 20 * 2 * math.pi * amount, 20),
        SeamReading(5e-5, float(part.pitches[0]) * amount, 1),
    ]
    return diagnose(setup, part, readings).suspects[0]


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        pytest.param(16 / 8 - 1, "driver.microsteps = 8 in place of 16", id="switch at 8"),
        pytest.param(16 / 32 - 1, "driver.microsteps = 32 in place of 16", id="switch at 32"),
        pytest.param(200 / 400 - 1, "motor.full_steps_per_revolution = 400 in place of 200", id="a 0.9 deg motor"),
        pytest.param(18 / 20 - 1, "gearing.0.driving_teeth = 18 in place of 20", id="pulley of 18"),
        pytest.param(60 / 61 - 1, "gearing.0.driven_teeth = 61 in place of 60", id="wheel of 61"),
    ],
)
def test_a_wrong_switch_or_wheel_is_named(amount: float, words: str) -> None:
    told = found_by(amount)
    assert told.key == "ratio"
    assert told.correction is not None
    assert any(words in each for each in told.correction.likely), told.correction.likely


def test_a_belt_that_slips_is_no_wheel_that_exists() -> None:
    told = found_by(-0.0075)
    assert told.key == "ratio"
    assert told.correction is not None
    assert told.correction.likely == (NO_WHEEL,)


def test_the_steps_that_make_a_turn_are_those_of_the_true_ratio() -> None:
    told = found_by(16 / 8 - 1)
    assert told.correction is not None
    assert told.correction.entered == 200 * 16 * 3
    assert told.correction.true == pytest.approx(200 * 8 * 3, rel=1e-3)


def test_a_part_that_slips_in_its_jaws_leaves_the_chuck_where_it_should_be() -> None:
    setup, layout = parts()[0]
    part = marked_part(setup, layout)
    readings = [
        PartDiameter(5e-5, part.diameter),
        PartLine(2e-4, -20 * math.pi * part.diameter * 0.01, 20),
        ShaftLine(math.radians(1), 0.0, 20),
    ]
    assert diagnose(setup, part, readings).suspects[0].key == "slip"


def test_the_nearest_of_several_sensible_ratios_stands_first() -> None:
    """59 driven teeth make 60/59 = 1.0169; 21 driving ones make 1.05; a ratio between lies nearer to the first."""
    found = sensible_ratios(MACHINE, 0.02, within=0.04)
    assert (found[0].key, found[0].value, found[0].entered) == ("gearing.0.driven_teeth", 59, 60)
    assert [abs(each.off) for each in found] == sorted(abs(each.off) for each in found)


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        pytest.param(2.0, "a radius was entered for the diameter", id="radius"),
        pytest.param(0.5, "twice the diameter was entered", id="twice"),
    ],
)
def test_a_slip_of_the_pen_is_named(factor: float, words: str) -> None:
    setup, layout = parts()[0]
    part = marked_part(setup, layout)
    told = diagnose(setup, part, [PartDiameter(5e-5, part.diameter * factor)]).suspects[0]
    assert told.correction is not None
    assert told.correction.likely == (words,)
    assert (told.correction.file, told.correction.key) == ("job", "part.diameter")


def test_the_roller_to_write_is_the_one_that_was_measured() -> None:
    setup, layout = next(each for each in parts() if each[0].machine.drive.rolls_on_part)
    part = marked_part(setup, layout)
    true = 1.03 * part.roller_diameter
    readings = [RollerDiameter(2e-5, true), *(SeamReading(5e-5, 0.03 * float(part.pitches[0]), s) for s in (1, 2, 3))]
    told = diagnose(setup, part, readings).suspects[0]
    assert told.correction is not None
    assert (told.correction.file, told.correction.key) == ("machine", "drive.roller_diameter")
    assert told.correction.true == pytest.approx(true * 1e3, abs=0.03)
    assert told.correction.within < 0.05
