"""Natural frequency and damping: computed, or from what somebody measured. Figures by J w^2 = k, written out."""

import math
from typing import Any

import pytest
from pydantic import ValidationError

from firmware_host.errors import InputError
from firmware_host.planning.compare.motors import machine_with
from firmware_host.planning.load.case import load_case
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import job, machine, roller_machine

BARE = 2e-5 + 2e-6 + (3e-4 + 5e-4) / 16
PART = (2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2) / 16
NOT_MEASURED = machine()
COMPUTED_HZ = math.sqrt(50 / math.sqrt(2) / (BARE + PART)) / (2 * math.pi)
BARE_HZ = math.sqrt(50 / math.sqrt(2) / BARE) / (2 * math.pi)


def hz(value: float) -> float:
    return value / (2 * math.pi)


def test_what_nobody_measured_lies_a_tenth_around_the_computed_frequency_and_in_the_assumed_damping() -> None:
    load = load_case(NOT_MEASURED, job())
    assert hz(load.natural_frequency) == pytest.approx(COMPUTED_HZ)
    assert hz(load.natural_band.lowest) == pytest.approx(0.9 * COMPUTED_HZ)
    assert hz(load.natural_band.highest) == pytest.approx(1.1 * COMPUTED_HZ)
    assert (load.damping.lowest, load.damping.highest) == (0.05, 0.2)


def test_a_frequency_measured_on_the_bare_chuck_gives_the_stiffness_that_swings_the_part() -> None:
    measured = 0.8 * BARE_HZ
    load = load_case(machine(swing={"frequency": f"{measured:.9f} Hz", "frequency_uncertainty": 0.02}), job())
    expected = measured * math.sqrt(BARE / (BARE + PART))
    assert hz(load.natural_frequency) == pytest.approx(expected)
    # Known to 2 % for the bare chuck; the part makes 46 % of what swings now, of whose 10 % as much is added.
    part = PART / (BARE + PART)
    assert part == pytest.approx(0.4622, abs=1e-4)
    assert hz(load.natural_band.lowest) == pytest.approx(expected * (1 - 0.02 - 0.1 * part))
    assert hz(load.natural_band.highest) == pytest.approx(expected * (1 + 0.02 + 0.1 * part))


def test_a_frequency_measured_with_this_part_is_known_as_well_as_it_was_measured() -> None:
    swing = {"frequency": "70 Hz", "load_inertia": f"{16 * PART:.15f} kg*m^2", "frequency_uncertainty": 0.03}
    load = load_case(machine(swing=swing), job())
    assert hz(load.natural_frequency) == pytest.approx(70.0)
    assert hz(load.natural_band.lowest) == pytest.approx(70 * 0.97)
    assert hz(load.natural_band.highest) == pytest.approx(70 * 1.03)


def test_on_rollers_what_lay_on_them_counts_at_their_shaft() -> None:
    part = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
    at_roller = part * (25 / 60) ** 2
    rig = roller_machine()
    load = load_case(rig, job())
    swing = {"frequency": f"{hz(load.natural_frequency):.9f} Hz", "load_inertia": f"{at_roller:.15f} kg*m^2"}
    measured = load_case(rig.model_copy(update={"swing": type(rig.swing).model_validate(swing)}), job())
    assert measured.natural_frequency == pytest.approx(load.natural_frequency)


def test_the_measured_stiffness_goes_with_the_current() -> None:
    swing = {"frequency": "80 Hz", "current": "1 A"}
    at_one = load_case(machine(swing=swing, driver__current="1 A"), job())
    at_two = load_case(machine(swing=swing), job())
    assert at_two.natural_frequency == pytest.approx(math.sqrt(2) * at_one.natural_frequency)


def test_a_measured_damping_ratio_is_known_to_its_uncertainty() -> None:
    load = load_case(machine(swing={"damping_ratio": 0.1, "damping_uncertainty": 0.3}), job())
    assert (load.damping.lowest, load.damping.highest) == pytest.approx((0.07, 0.13))


def test_a_measured_swing_moves_and_narrows_the_resonant_bands() -> None:
    bare = report(machine(), acceleration=300.0)
    swing = {"frequency": "70 Hz", "load_inertia": f"{16 * PART:.15f} kg*m^2", "frequency_uncertainty": 0.01}
    known = report(machine(swing=swing | {"damping_ratio": 0.12, "damping_uncertainty": 0.05}), acceleration=300.0)
    edges = [named(each, "resonance").limit for each in (bare, known)]
    zeta = 0.12 * math.sqrt(0.95 * 1.05)
    assert edges == pytest.approx([1.1 * 1.1 * COMPUTED_HZ, 70 * 1.01 * (1 + zeta)])


def test_another_motor_does_not_swing_as_the_one_that_was_measured() -> None:
    rig = machine(swing={"frequency": "80 Hz", "damping_ratio": 0.1})
    other = rig.motor.model_copy(update={"name": "another"})
    assert machine_with(rig, other).swing == NOT_MEASURED.swing
    assert machine_with(rig, rig.motor).swing == rig.swing


@pytest.mark.parametrize("frequency", ["900 Hz", "1 Hz"], ids=["far above", "far below"])
def test_a_frequency_that_this_motor_cannot_have_names_the_one_expected(frequency: str) -> None:
    expected = f"{BARE_HZ:.4g} Hz".replace(".", r"\.")
    with pytest.raises(InputError, match=rf"swing\.frequency {frequency} is not near the {expected}"):
        load_case(machine(swing={"frequency": frequency}), job())


@pytest.mark.parametrize(
    ("swing", "words"),
    [
        ({"load_inertia": "1e-4 kg*m^2"}, "give frequency, too"),
        ({"current": "1 A"}, "give frequency, too"),
        ({"frequency_uncertainty": 0.1}, "give frequency, too"),
        ({"damping_uncertainty": 0.1}, "give damping_ratio, too"),
        ({"damping_ratio": 0.7, "damping_uncertainty": 0.5}, "nothing would swing"),
        ({"damping_ratio": 1.0}, "less than or equal to 0.7"),
        ({"frequency": "0 Hz"}, "must be greater than zero"),
    ],
    ids=[
        "inertia without frequency",
        "current without frequency",
        "uncertainty without frequency",
        "uncertainty without damping",
        "damping that may be 1",
        "no swing at all",
        "no frequency",
    ],
)
def test_half_a_measurement_is_refused(swing: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        machine(swing=swing)
