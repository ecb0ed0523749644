"""`ramp` while the program dies between two writes to the line: old settings, readings and bracket outlive it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_host.folders import shipped_folder
from firmware_host.simulator.status_query.device import StatusQueryDevice
from tests.cli.command import call
from tests.cli.commissioning_bench import PORT, Board, Wire, true_board, typed
from tests.cli.measuring_person import MeasuringPerson
from tests.support.crashes import Crash

JOB, MACHINE = "shaft-scale", "belt-chuck"
MEASURE = (
    *("commission", "measure", "ramp", JOB, "--port", PORT, "--write-settings"),
    *("--repeats", "3", "--angle-to", "0.2 deg"),
)
READINGS, WEAK = Path("readings.jsonl"), Path("weak.toml")
NEVER = -1


class DeadlyWire(Wire):
    """`dies_at`: the write, counted from 1, that the program dies in; nothing that follows reaches the board."""

    def __init__(self) -> None:
        super().__init__()
        self.dies_at, self.writes = NEVER, 0

    def sent(self, data: bytes) -> None:
        self.writes += 1
        if 0 < self.dies_at <= self.writes:
            raise Crash


@pytest.fixture
def wire() -> DeadlyWire:
    return DeadlyWire()


@pytest.fixture
def board(home: Path, wire: DeadlyWire) -> Iterator[Board]:
    """A motor that makes a sixth of its torque, so that it and not a limit binds."""
    described = (shipped_folder() / "true-machines" / "worn-belt-chuck.toml").read_text(encoding="utf-8")
    WEAK.write_text(described.replace("torque_factor = 0.9", "torque_factor = 0.15"), encoding="utf-8")
    with true_board(MACHINE, true=str(WEAK), readings=READINGS, wire=wire) as there:
        yield there


@pytest.mark.some(1)
@pytest.mark.parametrize("dies_at", range(190, 3800, 130))
def test_old_settings_readings_and_bracket_outlive_it(dies_at: int, board: Board, wire: DeadlyWire) -> None:
    """It loses steps from near 5,900 deg/s^2; an undisturbed go writes to the line 3,846 times."""
    before = stored(board)
    person = MeasuringPerson(JOB, READINGS, board.axis, board.clock)
    asked: list[int] = []

    def answer(shown: str) -> str:
        asked.extend(int(each) for each in re.findall(r"Trial (\d+): how far", shown))
        return person.answer(shown)

    wire.dies_at = dies_at
    with pytest.raises(Crash):
        typed(MEASURE, answer)
    wire.dies_at = NEVER
    board.clock.sleep(30.0)  # what it was sent it makes
    ended = typed(MEASURE, answer)
    assert ended.status == 0, ended.out
    assert "it is resumed there" in ended.out
    assert asked == list(range(1, len(asked) + 1)), "what was read is not asked for again, and nothing is left out"
    found = re.search(r"lost from an acceleration of the part of: (\d+) ± (\d+) deg/s\^2", ended.out)
    assert found is not None, ended.out
    assert abs(float(found[1]) - 5900) <= 2 * float(found[2])
    compared = call("controller", "settings", "compare", JOB, "--port", PORT)
    assert compared.status == 0, f"no pace that was tried is left on the board: {compared.out}"
    first = min(Path().rglob("backups/*.json"), key=lambda each: (len(each.name), each.name))
    restored = call("controller", "settings", "restore", str(first), "--port", PORT)
    assert restored.status == 0, restored.out + restored.err
    assert stored(board) == before


def stored(board: Board) -> dict[str, float]:
    """What the controller holds."""
    assert isinstance(board.device, StatusQueryDevice)
    return dict(board.device.settings)
