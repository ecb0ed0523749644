"""Watching while the gate is open: whatever contradicts the standstill closes the gate first and is told second.

Held against the observer of the fault runs, who sees the motor's own record, and against the order in which things were
written: to the line and to the disk.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import pytest

from firmware_host.errors import (
    ControllerFaultError,
    ControllerResetError,
    FirmwareHostError,
    LinkError,
    MotorReleasedError,
    PortLostError,
    PositionError,
    StandstillError,
)
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.replay import replay
from firmware_host.station.runs.verify import verify_run
from tests.faults.setups import task_for
from tests.faults.world import World
from tests.support.board_faults import miscount

ANSWER = re.compile(rb"ok[^\n]*\n")
SEEN_WITHIN_S = 0.2
"""A look every 20 ms and an answer; a link is given a second."""
LINK_WITHIN_S = 1.5


def silent(world: World, line: bytes) -> None:
    """Somebody's line that the board carries out; the answer to it never reaches us."""
    left = [1]

    def swallow(data: bytes) -> bytes:
        shorter, count = ANSWER.subn(b"", data, count=left[0]) if left[0] else (data, 0)
        left[0] -= count
        return shorter

    world.port.spoil = swallow
    world.device.receive(line, world.now_s)


def turned(world: World) -> None:
    """Absolute words on both boards: to a place some way off."""
    letter, word = world.task.case.axis, "" if world.task.case.syncs else "G53 "
    silent(world, f"{word}G1 {letter}200 F600\n".encode())


def alarmed(world: World) -> None:
    world.task.case.spoken.fault(world.device, world.now_s)


def went_silent(world: World) -> None:
    world.port.spoil = lambda data: b""


def counted_off(world: World) -> None:
    miscount(world.device, world.task.case.axis, 1, world.now_s)


@dataclass(frozen=True)
class Sign:
    """Something that contradicts the standstill proof; how it is told and how soon the gate has to be shut (s)."""

    act: Callable[[World], None]
    kinds: tuple[type[FirmwareHostError], ...]
    words: str
    within_s: float = SEEN_WITHIN_S
    boards: tuple[str, ...] = ("status-query/plain", "numbered-line/plain")


SIGNS = {
    "motion": Sign(turned, (StandstillError, PositionError), "moving|another step"),
    "alarm": Sign(alarmed, (ControllerFaultError,), "alarm|locked|halted|faulted"),
    "reset": Sign(
        lambda world: world.line.hardware_reset(world.now_s), (ControllerResetError, LinkError), "reset|no answer",
        LINK_WITHIN_S,
    ),
    "lost link": Sign(lambda world: world.port.pull_cable(), (PortLostError,), "the cable is pulled"),
    "silent link": Sign(went_silent, (LinkError,), "no answer to", LINK_WITHIN_S),
    "wrong step": Sign(counted_off, (PositionError, StandstillError), "it stands at another step|moving"),
    "released motor": Sign(
        lambda world: silent(world, b"$SLP\n"), (MotorReleasedError,), "asleep", boards=("status-query/plain",)
    ),
}  # fmt: skip
EVERY = [(name, board) for name, sign in SIGNS.items() for board in sign.boards]


@dataclass
class Order:
    """What happened from the sign on, in order: "close", "sent", "journal"."""

    world: World
    told: list[str] = field(default_factory=list)
    began_s: float | None = None

    def watch(self) -> None:
        world = self.world
        close, opened = world.gate.close, world.gate.open
        world.gate.close = lambda: self._noted("close", close)  # type: ignore[method-assign]
        world.gate.open = lambda request: self._noted("open", lambda: opened(request))  # type: ignore[method-assign]
        world.disk.before = lambda: self._note("journal")
        world.port.on_write = lambda data: self._note("" if data in {b"?"} or b"M114" in data else "sent")

    def _noted(self, word: str, act: Callable[[], None]) -> None:
        self._note(word)
        act()

    def _note(self, word: str) -> None:
        if self.began_s is not None and word:
            self.told.append(word)


@pytest.mark.parametrize(("name", "board"), EVERY, ids=[f"{name}-{board.split('/')[0]}" for name, board in EVERY])
def test_a_sign_against_rest_closes_the_gate_first_and_is_told_second(name: str, board: str, tmp_path: Path) -> None:
    sign = SIGNS[name]
    world = World(tmp_path, task_for(board), Random(0), pass_s=5.0)
    order = Order(world)
    order.watch()

    def turn() -> None:
        if order.began_s is None and len(world.observer.openings) == 3 and world.gate.is_open:
            if world.now_s < world.observer.openings[-1].opened_s + 1.0:
                return
            order.began_s = world.now_s
            world.observer.shut_by(world.now_s)
            sign.act(world)

    world.on_turn = turn
    with pytest.raises(sign.kinds, match=sign.words) as caught:
        world.run()
    assert order.began_s is not None
    assert order.told[0] == "close", order.told
    assert "journal" in order.told[1:]
    opening = world.observer.openings[-1]
    assert opening.closed_s is not None
    assert opening.closed_s - order.began_s < sign.within_s
    # The run itself never opens a gate while anything moves; somebody else's motion can be seen only once it has begun.
    moved = [line for line in world.broken_promises(ended=False) if name != "motion" or "while moving" not in line]
    assert moved == []
    record = replay(read_journal(world.folder.journal)).record
    assert (record.outcome, record.reason) == ("failed", str(caught.value))
    assert [entry.status for entry in record.passes] == ["done", "done", "unknown", *["to do"] * 3]
    assert all(finding.holds for finding in verify_run(world.folder))
