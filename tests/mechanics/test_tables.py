"""The published tables: copied figures, and names that aren't in them."""

import pytest
from scipy import constants

from firmware_host.errors import InputError
from firmware_host.mechanics.body.density import DENSITIES, density_of
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.contact.friction import ROLLING_LEVER_ARM, static_friction_of


def test_standard_gravity_is_the_codata_value() -> None:
    assert constants.g == STANDARD_GRAVITY


def test_every_density_is_the_published_one() -> None:
    # Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A, table 7.23, kg/m^3.
    published = {
        "aluminium": (2700, 2700),
        "grey_cast_iron": (7600, 7600),
        "copper": (8960, 8960),
        "brass": (8400, 8900),
        "steel": (7860, 7860),
        "zinc": (7130, 7130),
    }
    assert {name: (row.low, row.high) for name, row in DENSITIES.items()} == published


@pytest.mark.parametrize(
    ("pair", "low", "high"),
    [
        pytest.param("steel_on_steel", 0.12, 0.60, id="steel"),
        pytest.param("plastic_on_steel", 0.20, 0.45, id="plastic"),
        pytest.param("plastic_belt_on_steel", 0.25, 0.45, id="belt"),
    ],
)
def test_static_friction_is_the_published_range(pair: str, low: float, high: float) -> None:
    # The same guide, table 7.21, dry.
    assert (static_friction_of(pair).low, static_friction_of(pair).high) == (low, high)


def test_rolling_lever_arms_are_published_in_millimetres_and_used_in_metres() -> None:
    # The same guide, table 7.22: hard rubber on steel 7 mm, steel on steel 0.5 mm.
    assert ROLLING_LEVER_ARM["hard_rubber_on_steel"].middle == pytest.approx(7e-3)
    assert ROLLING_LEVER_ARM["steel_on_steel"].high == pytest.approx(0.5e-3)


def test_an_unknown_material_names_the_nearest() -> None:
    with pytest.raises(InputError, match=r"no tabulated density for 'stell'\. Did you mean 'steel'"):
        density_of("stell")
