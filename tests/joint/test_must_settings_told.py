"""Whatever fails while settings are written or brought back: what is in force and what is stored is what is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from random import Random
from typing import Any

import pytest

from firmware_host.acts import RestoreSettings
from firmware_host.errors import FirmwareHostError
from tests.support.bench import Bench
from tests.support.station_bench import quick_disk
from tests.support.told_settings import BOARDS, FAULTS, Fault, Faulty, acts, is_near, require_told, truth

MOST_WRITES = 400


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def slug(fault: Fault) -> str:
    return fault.name.replace(" ", "-").replace(",", "")


def error_of(act: Callable[[], object]) -> FirmwareHostError | None:
    try:
        act()
    except FirmwareHostError as error:
        return error
    return None


def require_set(b: Bench[Any], texts: Mapping[str, str]) -> None:
    """Each is in force and stored."""
    for has in truth(b, texts):
        assert {key: has[key] for key, text in texts.items() if not is_near(key, has[key], text)} == {}


def one_failure(name: str, act: str, fault: Fault, at: int, folder: Path) -> bool:
    """Write, then fail at the `at`-th write to the port during `act`; False if the act sends fewer."""
    board, first = BOARDS[name], folder / "first.json"
    b = board.make()
    controller = b.open()
    listed = dict(controller.settings.raw)
    todo = dict(acts(board, folder))
    if act == "restore":
        todo["write"](controller)
    before, earlier = truth(b, listed), controller.left
    faulty = Faulty(b, fault, at)
    error = error_of(lambda: todo[act](controller))
    left = controller.left if controller.left is not earlier else None
    require_told(left, before, truth(b, listed))
    if error is None:
        require_set(b, listed if act == "restore" else board.first)
    elif left is not None:
        assert str(left) in getattr(error, "__notes__", ())
        assert not left.changed or any(isinstance(each, RestoreSettings) for each in error.acts)
        assert not left.changed or act == "restore" or fault.name != "refused", str(left)
    faulty.heal()
    if first.exists():
        b.open().restore_settings(first)
        require_set(b, listed)
    assert b.device.motion_log == ()
    return faulty.happened


def every_failure(name: str, act: str, fault: Fault, tmp_path: Path, *, step: int, begin: int) -> None:
    for at in range(begin, MOST_WRITES, step):
        folder = tmp_path / f"{at}"
        folder.mkdir()
        if not one_failure(name, act, fault, at, folder):
            assert at >= 4
            return
    raise AssertionError("it never came to an end")


@pytest.mark.parametrize("fault", FAULTS, ids=slug)
@pytest.mark.parametrize("act", ["write", "restore"])
@pytest.mark.parametrize("name", BOARDS)
def test_what_is_told_after_a_failure_is_what_the_board_has(name: str, act: str, fault: Fault, tmp_path: Path) -> None:
    """A sample of the lines, drawn anew for each; all of them below."""
    draw = Random(f"{name} {act} {fault.name}")
    every_failure(name, act, fault, tmp_path, step=13, begin=draw.randrange(13))


@pytest.mark.slow
@pytest.mark.parametrize("fault", FAULTS, ids=slug)
@pytest.mark.parametrize("act", ["write", "restore"])
@pytest.mark.parametrize("name", BOARDS)
def test_what_is_told_after_a_failure_at_every_line_is_what_the_board_has(
    name: str, act: str, fault: Fault, tmp_path: Path
) -> None:
    every_failure(name, act, fault, tmp_path, step=1, begin=0)
