"""No gear or pulley has one tooth; a worm may have one start."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from firmware_host.model.machine.gearing import GearingStage


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        pytest.param({"driving_teeth": 1, "driven_teeth": 60}, 'kind = "worm" for a worm of one start', id="no kind"),
        pytest.param({"kind": "toothed-belt", "driving_teeth": 1, "driven_teeth": 60}, "one tooth", id="pulley"),
        pytest.param({"kind": "spur-gears", "driving_teeth": 20, "driven_teeth": 1}, "one tooth", id="gear"),
        pytest.param({"kind": "worm", "driving_teeth": 1, "driven_teeth": 1}, "one tooth", id="wheel of a worm"),
    ],
)
def test_a_wheel_of_one_tooth_is_refused(stage: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        GearingStage.model_validate(stage)


@pytest.mark.parametrize(
    "stage",
    [
        pytest.param({"kind": "worm", "driving_teeth": 1, "driven_teeth": 60}, id="worm of one start"),
        pytest.param({"kind": "coupling", "driving_teeth": 1, "driven_teeth": 1}, id="coupling"),
        pytest.param({"kind": "spur-gears", "driving_teeth": 2, "driven_teeth": 2}, id="two teeth"),
    ],
)
def test_what_can_be_built_is_taken(stage: dict[str, Any]) -> None:
    assert GearingStage.model_validate(stage).reduction == stage["driven_teeth"] / stage["driving_teeth"]
