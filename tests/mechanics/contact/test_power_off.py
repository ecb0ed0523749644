"""Equivalent shaft loads against the two bearings' reactions, and what happens without power."""

import pytest

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.contact import support
from firmware_host.mechanics.contact.support import PowerOff


@pytest.mark.parametrize("spacing", [0.02, 0.05, 0.2], ids=lambda metres: f"bearings {metres} m apart")
@pytest.mark.parametrize("distance", [0.005, 0.02, 0.07], ids=lambda metres: f"{metres} m out")
def test_the_equivalent_load_is_never_kinder_to_a_bearing_than_the_weight_itself(
    distance: float, spacing: float
) -> None:
    mass, rated_at = 1.3, 0.02
    equal = support.shaft_load(mass * STANDARD_GRAVITY, distance, rated_at)
    real = support.bearing_loads(mass, distance, spacing)
    instead = support.bearing_loads(equal / STANDARD_GRAVITY, rated_at, spacing)
    assert instead[0] >= real[0] * (1 - 1e-12)
    assert abs(instead[1]) >= abs(real[1]) * (1 - 1e-12)
    assert equal == pytest.approx(mass * STANDARD_GRAVITY * max(1, distance / rated_at))


@pytest.mark.parametrize(
    ("torque", "detent", "locking", "outcome"),
    [
        pytest.param(0.01, 0.02, False, PowerOff.STAYS, id="detent holds"),
        pytest.param(0.02, 0.02, False, PowerOff.STAYS, id="just held"),
        pytest.param(0.03, 0.02, False, PowerOff.SPINS_BACK, id="nothing holds"),
        pytest.param(0.03, 0.02, True, PowerOff.CREEPS, id="only the worm holds"),
        pytest.param(0.01, 0.02, True, PowerOff.STAYS, id="both hold"),
    ],
)
def test_without_power_a_part_stays_creeps_or_spins_back(
    torque: float, detent: float, locking: bool, outcome: PowerOff
) -> None:
    assert support.power_off(torque, detent, self_locking=locking) is outcome


def test_slenderness_is_length_over_diameter_and_refuses_a_part_without_diameter() -> None:
    assert support.slenderness(0.25, 0.095) == pytest.approx(2.6316, rel=1e-4)
    with pytest.raises(FormulaRangeError, match="diameter: 0 m"):
        support.slenderness(0.1, 0.0)
    with pytest.raises(FormulaRangeError, match="distance of the rated load: 0 m"):
        support.shaft_load(1.0, 0.1, 0.0)
