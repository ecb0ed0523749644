"""One seeded run from its beginning to its end, whatever strikes it, and what became of it."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from functools import cache
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from firmware_host.errors import ControllerError, FirmwareHostError, InputError, LinkError, RunNotBegunError
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.zero import ZeroAt
from tests.faults.line.fault_plan import Extent, Fault, draw_faults
from tests.faults.observer import LONG_PASS_S, PASS_S
from tests.faults.setups import CASES, task_for
from tests.faults.striking import Striker
from tests.faults.world import Died, Hung, World

MOST_GOES = 12
"""Three faults can end three goes; each may take two more to put right. More: a run that never comes to its end."""


class Outcome(Enum):
    """How a run came to its end."""

    AT_ONCE = "done at once"
    RESUMED = "resumed"
    ASKED = "resumed, asked"
    ANEW = "zero set anew"
    ANEW_ASKED = "zero anew, asked"
    BEGAN_AGAIN = "began again"
    BROKEN = "promise broken"


@dataclass(frozen=True)
class Played:
    """A run that is over.

    `struck` are the faults that took effect, `goes` tells how each process ended, `broken` which promises were broken;
    `indexes`: how often the gate was opened for the first pass of a segment.
    """

    seed: int
    board: str
    struck: tuple[Fault, ...]
    outcome: Outcome
    goes: tuple[str, ...]
    broken: tuple[str, ...]
    indexes: int = 0


def play(seed: int) -> Played:
    """Run the job of a seed: its board, its faults, its operator."""
    random = Random(seed)
    boards = tuple(CASES)
    board = boards[seed % len(boards)]
    task = task_for(board)
    pass_s = LONG_PASS_S if random.random() < 0.1 else PASS_S
    faults = draw_faults(random, extent_of(board, pass_s))
    with TemporaryDirectory(prefix="run-") as home:
        world = World(Path(home), task, random, pass_s)
        striker = Striker(world, faults)
        return Player(world, striker, seed, board).play()


@cache
def extent_of(board: str, pass_s: float) -> Extent:
    """How far an undisturbed run of a board's job counts."""
    task = task_for(board)
    with TemporaryDirectory(prefix="extent-") as home:
        world = World(Path(home), task, Random(0), pass_s)
        lines = 0

        def count() -> None:
            nonlocal lines
            lines += 1

        world.disk.before = count
        before_s, sent = world.now_s, len(world.port.written)
        world.run()
        opened = len(world.observer.openings)
        return Extent(world.now_s - before_s, len(world.port.written) - sent, lines, opened, pass_s)


class Player:
    """Starts processes and puts things right between them until the run is done."""

    def __init__(self, world: World, striker: Striker, seed: int, board: str) -> None:
        self.world = world
        self.striker = striker
        self.seed = seed
        self.board = board
        self.goes: list[str] = []
        self.began_again = self.set_anew = self.ended = False
        self._begun = False
        self._zero: ZeroAt | None = None

    def play(self) -> Played:
        """Go until the run is done."""
        while not self.ended and len(self.goes) < MOST_GOES:
            self.go()
        if not self.ended:
            self.world.observer.broken.append("hang: the run never comes to its end")
        broken = self.world.broken_promises(ended=self.ended)
        if not broken:
            broken = self.world.ill_founded()
        indexes = sum(opening.key[1] == 1 for opening in self.world.observer.openings)
        return Played(
            self.seed, self.board, self.striker.struck, self._outcome(broken), tuple(self.goes), tuple(broken), indexes
        )

    def go(self) -> None:
        """One process more, and what has to be put right after it."""
        try:
            self.ended = self._go()
        except Hung as hung:
            self._broke(f"hang: {hung}")
        except Exception:  # noqa: BLE001  the very thing looked for
            self._broke(f"traceback: {traceback.format_exc()}")

    def disturb(self, steps: int) -> None:
        """Another program turns the axis by `steps`, if the board lets it: no part stands at its zero any more."""
        self._zero = None
        try:
            self.world.turn_axis(steps)
        except FirmwareHostError as error:
            self.goes.append(f"another program: {error}")

    def _broke(self, promise: str) -> None:
        self.world.observer.broken.append(promise)
        self.goes.append(promise.split(":")[0])
        self.ended = True

    def _go(self) -> bool:
        """One process; True if the run is done."""
        world = self.world
        self.striker.begin_go()
        zero, self._zero = self._zero, None
        act: Callable[[], RunRecord] = (lambda: world.resume(zero)) if self._begun else world.run
        try:
            record = act()
        except Died:
            self.goes.append("died")
        except FirmwareHostError as error:
            self.goes.append(f"{type(error).__name__}: {error}")
            if isinstance(error, InputError) and "the run is done" in str(error):
                return True
            self._put_right(error)
            return False
        else:
            self.goes.append(record.outcome)
            return record.outcome == "done"
        self._begun = world.folder.journal.exists()
        self._tidy()
        return False

    def _tidy(self) -> None:
        """What anybody does before another go: free the disk, plug the cable, wait, and let the marking end."""
        world = self.world
        world.disk.full = world.disk.half = False
        world.wait(world.random.choice((world.observer.pass_s, 5.0, 30.0)))

    def _put_right(self, error: FirmwareHostError) -> None:
        world = self.world
        begun = world.folder.journal.exists()
        if isinstance(error, RunNotBegunError):
            begun = False
        if not begun and (self._begun or world.folder.setup.exists()):
            world.begin_anew()
            self.began_again = True
        failed_again = len(self.goes) > 1 and self.goes[-2] != "died"
        self._begun = begun
        self._tidy()
        if failed_again and isinstance(error, ControllerError | LinkError):
            self._set_right()

    def _set_right(self) -> None:
        """It was refused or failed again: switch the board off and on, and turn the part to zero."""
        world = self.world
        world.switch_off_and_on()
        if world.task.homes:
            world.turn_clear_of_switch()
        elif self._begun:
            world.turn_to_zero()
            self._zero = "here"
            self.set_anew = True

    def _outcome(self, broken: list[str]) -> Outcome:
        if broken:
            return Outcome.BROKEN
        if self.began_again:
            return Outcome.BEGAN_AGAIN
        if len(self.goes) == 1:
            return Outcome.AT_ONCE
        asked = bool(self.world.observer.asked)
        if self.set_anew:
            return Outcome.ANEW_ASKED if asked else Outcome.ANEW
        return Outcome.ASKED if asked else Outcome.RESUMED
