"""Restoring after writing, where boards refuse what real ones do: as before to the byte, or the difference told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import pytest

from firmware_host.controller.controller import Controller
from firmware_host.controller.port.trace import TraceKind
from firmware_host.controller.settings.backup import load_backup
from firmware_host.errors import EXIT_CHECK_FAILED, NotRestoredError
from firmware_host.station.stop_request import StopAskedError, StopRequest
from tests.support.bench import Bench, bench, numbered_bench
from tests.support.deaths import deaths
from tests.support.station_bench import quick_disk
from tests.support.traces import of_kind

LISTED = {
    "settings_report": "EPR after M205",
    "settings_decimals": 4,
    "rate_unit": "per-minute",
    "rate_listed": "per-second",
}


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@dataclass(frozen=True)
class Board:
    """A board with refusals of its own, and what is written to it. `fixed`: settings that only the board's maker sets.

    Between writing and restoring `behind` is set behind everybody's back, as by a new build of the board's program.
    """

    make: Callable[[], Bench[Any]]
    changes: Mapping[str, str]
    behind: Mapping[str, float] = field(default_factory=dict)
    told: str = ""

    def changed(self, backup: Path, **options: Any) -> tuple[Bench[Any], dict[str, str], Controller]:
        """A bench whose board was written to; its listing before, and a controller opened with `options`."""
        b = self.make()
        controller = b.open(**options)
        before = dict(controller.settings.raw)
        controller.write_settings(self.changes, backup=backup)
        for name, value in self.behind.items():
            b.device.settings[name] = value
        assert dict(controller.read_settings().raw) != before
        return b, before, controller


def state(settings: Mapping[str, float] | None = None, **variant: Any) -> Callable[[], Bench[Any]]:
    return lambda: bench({"$103": 26.667, "$123": 300.0, **(settings or {})}, **variant)


def numbers(settings: Mapping[str, float] | None = None, **variant: Any) -> Callable[[], Bench[Any]]:
    return lambda: numbered_bench({"M92 A": 26.667, "M201 A": 300.0, "M203 A": 12.5, **(settings or {})}, **variant)


OF_PLAN = {"$103": "50", "$123": "400", "$113": "3000", "$1": "254"}
BY_WORD = {"M92 A": "50", "M201 A": "250.5", "M203 A/min": "3000.250"}
BOARDS: Mapping[str, Board] = {
    "status-query plain": Board(state(), OF_PLAN),
    "status-query five decimals": Board(state({"$103": 26.66667}, scale_decimals=5), OF_PLAN),
    "status-query error latched": Board(state(block_whole_line_after_error=True), OF_PLAN),
    "status-query homing switched off": Board(state({"$22": 1, "$20": 1}), {"$20": "0", "$22": "0", "$103": "50"}),
    "status-query limits taken along": Board(state({"$22": 1, "$20": 1}), {"$22": "0"}),
    "status-query homing switched on": Board(state(), {"$20": "1", "$22": "1", "$133": "99"}),
    "status-query word refused": Board(
        state(fixed_settings={"$27": "refused"}), OF_PLAN, {"$27": 2.0}, r"\$27: was 1\.000, is 2\.000, refused \("
    ),
    "status-query word ignored": Board(
        state(fixed_settings={"$113": "ignored", "$12": "ignored"}, block_whole_line_after_error=True),
        {"$103": "50"},
        {"$12": 0.5},
        r"\$12: was 0\.002, is 0\.500, the controller keeps it",
    ),
    "status-query scale refused": Board(
        state(fixed_settings={"$103": "refused"}), {"$123": "400"}, {"$103": 40.0}, r"\$103: was 26\.667, is 40\.000"
    ),
    "numbered-line in force": Board(numbers(), BY_WORD),
    "numbered-line per minute": Board(numbers(rate_unit="per-minute"), BY_WORD),
    "numbered-line stored": Board(numbers(**LISTED, listing_shows="stored"), BY_WORD),
    "numbered-line four decimals": Board(numbers({"M203 A": 12.3456}, **LISTED), BY_WORD),
    "numbered-line whole accelerations": Board(numbers(whole_accelerations=True), {**BY_WORD, "M201 A": "250"}),
    "numbered-line word refused": Board(
        numbers(fixed_settings={"M201 X": "refused"}), BY_WORD, {"M201 X": 9.0}, r"M201 X: was 500\.00, is 9\.00, refus"
    ),
    "numbered-line word ignored": Board(
        numbers(fixed_settings={"M203 X": "ignored"}), BY_WORD, {"M203 X": 9.0}, r"M203 X/min: was 6000\.00, is 540\.00"
    ),
}


def slug(name: str) -> str:
    return name.replace(" ", "-")


IDS = {"argvalues": BOARDS, "ids": slug}


def listing(b: Bench[Any]) -> dict[str, str]:
    """All settings in the board's own text, as a program sees them that opens it now."""
    with b.open() as controller:
        return dict(controller.settings.raw)


def restored(b: Bench[Any], controller: Controller, backup: Path, told: str) -> None:
    if not told:
        controller.restore_settings(backup)
        return
    with pytest.raises(NotRestoredError, match=told) as error:
        controller.restore_settings(backup)
    assert error.value.exit_status == EXIT_CHECK_FAILED
    assert len(error.value.left) == 1


def as_before(b: Bench[Any], before: Mapping[str, str], board: Board) -> None:
    """The listing is that of before, but for what was told; after a reset as well, so it is stored."""
    for _ in range(2):
        now = listing(b)
        differing = {key for key, text in before.items() if now[key] != text}
        assert now.keys() == before.keys()
        assert {key.removesuffix("/min") for key in differing} == set(board.behind)
        b.device.hardware_reset(b.clock.monotonic())
        b.run(5.0)


@pytest.mark.parametrize("name", **IDS)
def test_after_restoring_the_listing_is_that_of_before_or_the_difference_is_told(name: str, tmp_path: Path) -> None:
    board, backup = BOARDS[name], tmp_path / "old.json"
    b, before, controller = board.changed(backup)
    assert dict(load_backup(backup).settings) == before
    restored(b, controller, backup, board.told)
    assert b.device.motion_log == ()
    as_before(b, before, board)


@pytest.mark.some(4)
@pytest.mark.parametrize("arrives", [pytest.param(False, marks=pytest.mark.slow), True], ids=["before", "after"])
@pytest.mark.parametrize("name", **IDS)
def test_a_restore_that_dies_at_any_line_is_completed_by_restoring_again(
    name: str, arrives: bool, tmp_path: Path
) -> None:
    board = BOARDS[name]
    backups = (tmp_path / f"{number}.json" for number in range(1000))
    backup, before = tmp_path, dict[str, str]()

    def begin() -> tuple[Bench[Any], Callable[[], object]]:
        nonlocal backup, before
        backup = next(backups)
        b, before, controller = board.changed(backup)
        return b, lambda: restored(b, controller, backup, board.told)

    for b in deaths(begin, arrives=arrives):
        kept = backup.read_bytes()
        restored(b, b.open(), backup, board.told)
        assert backup.read_bytes() == kept
        as_before(b, before, board)


@pytest.mark.some(1)
@pytest.mark.parametrize("name", ["status-query plain", "numbered-line stored", "numbered-line in force"], ids=slug)
def test_a_restore_that_is_stopped_at_any_line_is_completed_by_restoring_again(name: str, tmp_path: Path) -> None:
    board, stopped = BOARDS[name], 0
    for point in range(200):
        backup, stop = tmp_path / f"{point}.json", StopRequest()
        b, before, controller = board.changed(backup, check=stop.check)
        end = len(b.port.written) + point

        def on_write(data: bytes, b: Bench[Any] = b, end: int = end, stop: StopRequest = stop) -> None:
            if len(b.port.written) == end:
                stop.ask("Ctrl-C")

        b.port.on_write = on_write
        try:
            controller.restore_settings(backup)
        except StopAskedError:
            stopped += 1
            assert not b.device.bytes_lost
            restored(b, b.open(), backup, board.told)
        as_before(b, before, board)
        if stop.reason is None:
            break
    assert stopped >= len(board.changes)


@pytest.mark.parametrize("name", [name for name in BOARDS if "homing" in name or "limits" in name], ids=slug)
def test_homing_and_soft_limits_go_back_in_an_order_in_which_nothing_is_refused(name: str, tmp_path: Path) -> None:
    b, _, controller = BOARDS[name].changed(tmp_path / "old.json")
    controller.restore_settings(tmp_path / "old.json")
    assert not [data for data in of_kind(b.trace, TraceKind.RECEIVED) if data.startswith(b"error")]


STATE_POOL = {
    "$1": 255,
    "$11": 0.01,
    "$26": 250,
    "$27": 1,
    "$100": 100,
    "$103": 26.667,
    "$112": 6000,
    "$113": 6000,
    "$123": 300,
}
NUMBER_POOL = {
    "M92 A": 26.667,
    "M92 X": 100,
    "M201 A": 300,
    "M201 X": 500,
    "M203 A": 12.5,
    "M203 X": 100,
    "M204 T": 3000,
}


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("kind", ["status-query", "numbered-line"])
def test_drawn_boards_are_as_before_but_for_the_words_that_they_do_not_take(
    kind: str, seed: int, tmp_path: Path
) -> None:
    draw = Random(f"{kind} {seed}")
    pool, make = (STATE_POOL, bench) if kind == "status-query" else (NUMBER_POOL, numbered_bench)
    fixed = {name: draw.choice(["refused", "ignored"]) for name in draw.sample(sorted(pool), 2)}
    homing = draw.choice([(0, 0), (1, 0), (1, 1)])
    own = dict(zip(("$22", "$20"), homing, strict=True)) if kind == "status-query" else {}
    b: Bench[Any] = make({**pool, **own}, fixed_settings=fixed)
    controller = b.open()
    before, backup = dict(controller.settings.raw), tmp_path / "old.json"
    free = draw.sample(sorted(pool.keys() - fixed.keys()), 4)
    changes = {name: str(draw.randint(2, 200)) for name in free}
    if own:
        changes |= draw.choice([{"$22": "0"}, {"$22": "1", "$20": "1"}, {"$22": "1", "$20": "0"}])
    if kind == "numbered-line":
        changes = {f"{name}/min" if name.startswith("M203") else name: text for name, text in changes.items()}
    controller.write_settings(changes, backup=backup)
    behind = {name: pool[name] + draw.choice([0, 3]) for name in fixed}
    b.device.settings.update(behind)
    board = Board(lambda: b, changes, {name: value for name, value in behind.items() if value != pool[name]})
    if not board.behind:
        controller.restore_settings(backup)
    else:
        with pytest.raises(NotRestoredError, match="not all settings") as told:
            controller.restore_settings(backup)
        assert {line.partition(":")[0].removesuffix("/min") for line in told.value.left} == set(board.behind)
    as_before(b, before, board)


def test_settings_that_this_board_does_not_have_are_told_and_all_others_restored(tmp_path: Path) -> None:
    backup = tmp_path / "old.json"
    b = bench({"$103": 26.667}, axes="XYZAB")
    b.open().write_settings({"$103": "50"}, backup=backup)
    other = bench({"$103": 50.0})
    with pytest.raises(NotRestoredError, match=r"\$104: was 100\.000, the controller has no such setting") as told:
        other.open().restore_settings(backup)
    assert len(told.value.left) == 4
    assert listing(other)["$103"] == "26.667"
