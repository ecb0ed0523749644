"""What is tried on each recorded board passes; the table on the page of what is checked is the one that this makes."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware_host.errors import FirmwareHostError, SettingsMismatchError
from firmware_host.simulator.boards import board_names
from tests.joint.board_table import BOARDS, REFUSED, TRIALS, BoardBench, Table, needs, tried
from tests.support.station_bench import quick_disk

PAGE = Path(__file__).resolve().parents[2] / "docs" / "pages" / "checked.md"
DAILY = ("`settings restore`", "reset in motion")
"""Tried on each board each day; the others on the boards whose turn it is, and all by the slow tests."""


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def kept_rows() -> list[str]:
    """The rows of the page's table, with its head."""
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    (start,) = [number for number, line in enumerate(lines) if line.startswith("|  | status-query-a |")]
    rows = [line for line in lines[start : start + len(TRIALS) + 6] if line.startswith("|")]
    return rows


def kept_cells() -> dict[tuple[str, str], str]:
    """What the page says of each trial on each board."""
    head, _, *rows = [[cell.strip() for cell in row.strip("|").split("|")] for row in kept_rows()]
    return {(row[0], name): cell for row in rows for name, cell in zip(head[1:], row[1:], strict=True)}


def its_turn(trial: str, board: str) -> bool:
    """Whether a trial is a daily one: the others take turns, each on one board."""
    return trial in DAILY or list(TRIALS).index(trial) % len(BOARDS) == list(BOARDS).index(board)


ALL = [(trial, board) for trial in TRIALS for board in BOARDS]


@pytest.mark.some(4)
@pytest.mark.parametrize(("trial", "board"), [pair for pair in ALL if its_turn(*pair)])
def test_what_is_tried_each_day_comes_out_as_the_page_says(trial: str, board: str, tmp_path: Path) -> None:
    result = tried(BOARDS[board], trial, tmp_path)
    assert (result.failed, result.wrong_steps, result.open_pulses) == ("", 0, 0)
    assert result.cell == kept_cells()[trial, board]


def test_the_page_tells_of_every_trial_on_every_board_and_nothing_fails() -> None:
    cells = kept_cells()
    assert set(BOARDS) == set(board_names())
    assert set(ALL) <= set(cells)
    assert {cells[pair] for pair in ALL} <= {"pass", REFUSED}
    assert [pair for pair in ALL if cells[pair] == REFUSED and "settings write" not in pair[0]] == []


@pytest.mark.slow
def test_the_whole_table_is_the_one_on_the_page() -> None:
    assert Table().lines() == kept_rows()


def test_the_table_counts_a_wrong_step_a_pulse_with_the_gate_open_and_a_failure(tmp_path: Path) -> None:
    bench = BoardBench(tmp_path, BOARDS["status-query-c"])
    bench.write(tmp_path)
    bench.at("gate-open", lambda: bench.strangers_line(f"G91 G1 {bench.axis}5 F3000"), rests=2)
    with pytest.raises(
        FirmwareHostError, match=r"moves|moving|turn"
    ):  # it is seen, and the gate closed; the pulses were made all the same
        bench.run()
    assert bench.open_pulses > 0
    segment, planned, reported, true = bench.progress.rests[-1]
    bench.progress.rests[-1] = (segment, planned, reported, true + 1)
    assert bench.wrong_steps == 1
    with pytest.raises(AssertionError, match="not so"):
        needs(False, "not so")


def test_a_setting_that_a_damaged_line_changed_is_brought_back_with_those_that_were_written(tmp_path: Path) -> None:
    bench = BoardBench(tmp_path, BOARDS["status-query-a"])
    before, receive = dict(bench.device.settings), bench.device.receive

    def lost_a_byte(data: bytes, now_s: float) -> None:
        if data.startswith(b"$110="):
            bench.device.receive = receive
            data = data.replace(b"$110=", b"$10=")
        receive(data, now_s)

    bench.device.receive = lost_a_byte
    with pytest.raises(SettingsMismatchError, match=r"\$110: wrote .*, reads 500\.000"):
        bench.write(tmp_path)
    assert bench.device.receive == receive
    assert dict(bench.device.settings) == before
