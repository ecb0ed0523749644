"""Which microsteps a controller's steps per unit belong to, where they are not the machine's."""

from __future__ import annotations

import pytest

from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.stored_settings import ControllerSettings
from firmware_host.model import load_machine
from firmware_host.station.settings.check import microsteps_that_fit

NAMES = StatusQueryDialect().setting_names("A")


@pytest.mark.parametrize(
    ("printed", "there"),
    [("26.667", None), ("53.333", 32), ("53.33", 32), ("6.667", 4), ("426.667", 256), ("80.000", None), ("250", None)],
)
def test_they_are_told_where_a_power_of_two_explains_the_difference(printed: str, there: int | None) -> None:
    """The belt-chuck: 200 steps times 16 microsteps times 3 in 360 deg, which is 26.667 a degree."""
    raw = dict.fromkeys([f"${number}" for number in range(134)], "1") | {NAMES.steps_per_unit: printed}
    assert microsteps_that_fit(load_machine("belt-chuck"), ControllerSettings.read(raw, "A", NAMES)) == there
