"""Whatever fails while settings are written or brought back: what is in force and what is stored is what is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from random import Random
from typing import Any

import pytest

from firmware_host.acts import RestoreSettings
from firmware_host.controller.controller import Controller
from firmware_host.errors import FirmwareHostError
from firmware_host.station.stop_request import StopAskedError, StopRequest
from tests.support.bench import Bench
from tests.support.station_bench import quick_disk
from tests.support.told_settings import BOARDS, FAULTS, Fault, Faulty, acts, is_near, require_told, truth

MOST_WRITES = 400
STEP = 37
"""Of so many lines one is drawn for the quick sample."""


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def slug(fault: Fault) -> str:
    return fault.name.replace(" ", "-").replace(",", "")


def error_of(act: Callable[[], object]) -> FirmwareHostError | StopAskedError | None:
    try:
        act()
    except (FirmwareHostError, StopAskedError) as error:
        return error
    return None


def require_set(b: Bench[Any], texts: Mapping[str, str]) -> None:
    """Each is in force and stored."""
    for has in truth(b, texts):
        assert {key: has[key] for key, text in texts.items() if not is_near(key, has[key], text)} == {}


def failing(
    b: Bench[Any], do: Callable[[Controller], object], wanted: Mapping[str, str], fault: Fault, at: int
) -> bool:
    """Do something to the settings, with a failure at the `at`-th write to the port; False if there are fewer.

    What is told of them then has to be what the board has. The line is whole again afterwards.
    """
    stop = StopRequest()
    controller = b.open(check=stop.check)
    listed = dict(controller.settings.raw)
    before = truth(b, listed)
    faulty = Faulty(b, fault, at, stop)
    error = error_of(lambda: do(controller))
    left = controller.left
    require_told(left, before, truth(b, listed))
    if error is None:
        require_set(b, wanted)
    elif left is not None and isinstance(error, FirmwareHostError):
        assert str(left) in getattr(error, "__notes__", ())
        assert not (left.sent and left.changed) or any(isinstance(each, RestoreSettings) for each in error.acts)
    faulty.heal()
    assert b.device.motion_log == ()
    return faulty.happened


def one_failure(name: str, act: str, fault: Fault, at: int, folder: Path) -> bool:
    """Write, then fail at the `at`-th write to the port during `act`; False if the act sends fewer."""
    board, first = BOARDS[name], folder / "first.json"
    b, todo = board.make(), acts(board, folder)
    with b.open() as controller:
        listed = dict(controller.settings.raw)
        if act == "restore":
            todo["write"](controller)
    happened = failing(b, todo[act], listed if act == "restore" else board.first, fault, at)
    if first.exists():
        b.open().restore_settings(first)
        require_set(b, listed)
    return happened


@pytest.mark.parametrize("seed", [*range(2), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 40))])
@pytest.mark.parametrize("name", BOARDS)
def test_in_any_order_and_with_failures_what_is_told_is_what_the_board_has(
    name: str, seed: int, tmp_path: Path
) -> None:
    draw, board = Random(f"{name} {seed}"), BOARDS[name]
    b, todo = board.make(), acts(board, tmp_path)
    listed = dict(b.open().settings.raw)
    wanted = {"write": board.first, "write again": board.first, "write others": board.second, "restore": listed}
    order = ["write", *draw.choices(["write again", "write others", "restore"], k=5)]
    for act in order:
        if act == "restore" and not (tmp_path / "first.json").exists():
            continue
        failing(b, todo[act], wanted[act], draw.choice(FAULTS), draw.randrange(60))
        if draw.random() < 0.2:
            b.device.hardware_reset(b.clock.monotonic())
            b.run(2.0)
    if (tmp_path / "first.json").exists():
        b.open().restore_settings(tmp_path / "first.json")
        require_set(b, listed)


def every_failure(name: str, act: str, fault: Fault, tmp_path: Path, *, step: int, begin: int) -> None:
    for at in range(begin, MOST_WRITES, step):
        folder = tmp_path / f"{at}"
        folder.mkdir()
        if not one_failure(name, act, fault, at, folder):
            assert at >= 4
            return
    raise AssertionError("it never came to an end")


@pytest.mark.some(14)
@pytest.mark.parametrize("fault", FAULTS, ids=slug)
@pytest.mark.parametrize("act", ["write", "restore"])
@pytest.mark.parametrize("name", BOARDS)
def test_what_is_told_after_a_failure_is_what_the_board_has(name: str, act: str, fault: Fault, tmp_path: Path) -> None:
    """A sample of the lines, drawn anew for each; all of them below."""
    draw = Random(f"{name} {act} {fault.name}")
    every_failure(name, act, fault, tmp_path, step=STEP, begin=draw.randrange(STEP))


@pytest.mark.slow
@pytest.mark.parametrize("fault", FAULTS, ids=slug)
@pytest.mark.parametrize("act", ["write", "restore"])
@pytest.mark.parametrize("name", BOARDS)
def test_what_is_told_after_a_failure_at_every_line_is_what_the_board_has(
    name: str, act: str, fault: Fault, tmp_path: Path
) -> None:
    every_failure(name, act, fault, tmp_path, step=1, begin=0)
