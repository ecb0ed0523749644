"""The page about boards has the record of each kind as `controller show` prints it.

With CIRCUMSTEP_WRITE_SCREENS set, the tables are written anew.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.learned import Learned
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.reporting.document import Document
from firmware_host.reporting.machines.learned import learned_section, to_settle
from firmware_host.reporting.render.plain import WIDTH, wrapped
from firmware_host.simulator.status_query import recorded as status_query
from firmware_host.simulator.status_query.device import StatusQueryDevice
from tests.controller.numbered_line.test_recorded_boards import A, B, learned
from tests.reporting.shown import printed
from tests.support.memory_port import MemoryPort

PAGE = Path(__file__).resolve().parents[2] / "docs" / "pages" / "your-board.md"


def learned_of_simulated(name: str) -> Learned:
    """The record of a board as delivered, of the axis that would turn a part."""
    clock = VirtualClock()
    variant = status_query.RECORDED[name]
    device = StatusQueryDevice(variant, 0.0)
    axis = "A" if "A" in variant.axes else "X"
    with connect(MemoryPort(device, clock), StatusQueryDialect(), clock, MemoryTrace(clock), axis=axis) as controller:
        return controller.learned


BOARDS: Mapping[str, Callable[[], Learned]] = {
    "numbered-line-a": lambda: learned(A),
    "numbered-line-b": lambda: learned(B),
    **{name: partial(learned_of_simulated, name) for name in status_query.RECORDED},
}
"""Of the numbered-line ones the recordings themselves are asked, of the others the boards simulated after them."""


def shown(record: Learned) -> str:
    lines = printed(Document((to_settle(record), learned_section(record)))).strip().splitlines()
    return "\n".join(part for line in lines for part in wrapped(line, WIDTH))


@pytest.mark.parametrize("board", BOARDS)
def test_the_page_has_the_record_as_it_is_printed(board: str) -> None:
    text, table = PAGE.read_text(encoding="utf-8"), shown(BOARDS[board]())
    if os.environ.get("CIRCUMSTEP_WRITE_SCREENS"):
        pattern = re.compile(rf"(### {board}\n\n[^`]*```text\n).*?```", re.DOTALL)
        text = pattern.sub(lambda match: f"{match[1]}{table}\n```", text)
        PAGE.write_text(text, encoding="utf-8")
    assert f"```text\n{table}\n```" in text.partition(f"### {board}\n")[2].partition("\n### ")[0]


@pytest.mark.parametrize("board", BOARDS)
def test_a_record_fits_a_terminal_of_eighty_columns(board: str) -> None:
    assert max(map(len, shown(BOARDS[board]()).splitlines())) <= 80
