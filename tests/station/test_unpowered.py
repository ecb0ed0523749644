"""What a machine's file says of a part without current: no run releases its motor, and resuming tells it."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

import firmware_host as fh
from firmware_host.errors import ControllerError, InputError
from firmware_host.station.journal.last_position import LastPosition
from firmware_host.station.resume import require_startable
from tests.support.station_bench import changed_setup
from tests.support.three_segments import own_folders


def setup_that(unpowered: str) -> fh.Setup:
    setup = changed_setup("shaft-scale")
    return fh.Setup(
        setup.job,
        setup.machine.model_copy(update={"axis": setup.machine.axis.model_copy(update={"unpowered": unpowered})}),
    )


def test_a_motor_whose_part_turns_away_is_not_released_by_a_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own_folders(tmp_path, monkeypatch)
    with (
        pytest.raises(InputError, match="the part turns away when the motor is released"),
        fh.open_station(setup_that("turns"), "PORT", release_motor=True),
    ):
        pytest.fail("it was opened")
    assert fh.list_runs(Path("runs")) == ()


@pytest.mark.parametrize(
    ("unpowered", "told"),
    [
        pytest.param("holds", "Without current the part holds where it is", id="holds"),
        pytest.param("turns", "Without current the part turns away", id="turns"),
        pytest.param(None, "the motor was released. See", id="not measured"),
    ],
)
def test_a_run_that_can_not_prove_its_place_tells_what_the_part_does_without_current(unpowered: str, told: str) -> None:
    left = SimpleNamespace(origin=0, why_lost=lambda **_: "the motor was released")
    run: Any = SimpleNamespace(
        setup=setup_that(unpowered),
        folder=SimpleNamespace(path=Path("run")),
        left=lambda: cast("LastPosition", left),
        require_same_marking=lambda **_: None,
    )
    gate: Any = SimpleNamespace(marks=True)
    with pytest.raises(ControllerError, match="cannot be proved") as caught:
        require_startable(run, gate, None)
    assert told in str(caught.value)
