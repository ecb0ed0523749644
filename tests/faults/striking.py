"""Lets the faults of a plan strike a world when they are due."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import copysign, inf

from tests.faults.line.fault_line import Harm
from tests.faults.line.fault_plan import Counted, Fault, FaultKind
from tests.faults.world import Died, World
from tests.support.board_faults import miscount, slip

_HARMS = {
    FaultKind.DROP: Harm.DROP,
    FaultKind.CORRUPT: Harm.CORRUPT,
    FaultKind.DELAY: Harm.DELAY,
    FaultKind.DUPLICATE: Harm.DUPLICATE,
}
_GATE_SHUTTERS = frozenset({FaultKind.RESET, FaultKind.ALARM, FaultKind.UNPLUG, FaultKind.STOP})
_FORGETTING = frozenset({FaultKind.DISK_FULL, FaultKind.POWER_LOSS})
_LONGEST_JUMP_S = 50 * 365 * 86400.0
_MOST_SLIP = 200
_MOST_MISCOUNT = 50
_MISREADS = 0.4
"""Part of the wrong positions that are a digit misread on the line."""


class Striker:
    """Watches a world's turns; `struck` are the faults that have happened, not those that only were set up."""

    def __init__(self, world: World, faults: Sequence[Fault]) -> None:
        self.world = world
        self._set_up: list[tuple[Fault, Callable[[], bool]]] = []
        self._left = list(faults)
        self._timed: list[tuple[float, Fault]] = []
        self._stalls: list[Fault] = []
        self._slipped: list[Fault] = []
        self._forgetful = any(fault.kind in _FORGETTING for fault in faults)
        self._counts = dict.fromkeys(Counted, 0)
        self._running_s = 0.0
        self._then_s = world.now_s
        self._look_ahead()
        world.on_turn = self._turn
        world.on_open = lambda: self._count(Counted.OPENED)
        world.due_s = self._due_s
        world.disk.before = lambda: self._count(Counted.JOURNALLED)
        world.port.on_write = lambda data: self._count(Counted.SENT)

    @property
    def struck(self) -> tuple[Fault, ...]:
        """The faults that took effect: a line was harmed, the disk refused, the motor slipped, the position was off."""
        return tuple(fault for fault, happened in self._set_up if happened())

    def add(self, fault: Fault) -> None:
        """One fault more, counted from the beginning of the run."""
        self._left.append(fault)
        self._look_ahead()
        self._forgetful = self._forgetful or fault.kind in _FORGETTING

    def begin_go(self) -> None:
        """A new process starts: time counts on from here."""
        self._then_s = self.world.now_s
        self._look_ahead()

    def _look_ahead(self) -> None:
        """Find the next instant at which something is due (infinity: none)."""
        instants = [at_s for at_s, _ in self._timed]
        timed = [fault.value for fault in self._left if fault.counted is Counted.TIME]
        instants += [self._then_s + value - self._running_s for value in timed]
        self._next_s = min(instants, default=inf)

    def _due_s(self) -> float | None:
        return None if self._next_s == inf else self._next_s

    def _turn(self) -> None:
        now_s = self.world.now_s
        self._running_s += now_s - self._then_s
        self._then_s = now_s
        if now_s >= self._next_s - 1e-9:
            self._strike_timed(now_s)
        if self._stalls and self.world.line.moving_at(now_s):
            for fault in self._stalls:
                self._slip(fault)
            self._stalls.clear()

    def _strike_timed(self, now_s: float) -> None:
        due = [fault for fault in self._left if fault.counted is Counted.TIME and self._running_s + 1e-9 >= fault.value]
        due += [fault for at_s, fault in self._timed if at_s <= now_s + 1e-9]
        self._left = [fault for fault in self._left if fault not in due]
        self._timed = [(at_s, fault) for at_s, fault in self._timed if at_s > now_s + 1e-9]
        self._look_ahead()
        for fault in due:
            self._strike(fault)

    def _count(self, counted: Counted) -> None:
        if not self.world.running:
            return
        self._counts[counted] += 1
        due = [fault for fault in self._left if fault.counted is counted and fault.value <= self._counts[counted]]
        self._left = [fault for fault in self._left if fault not in due]
        for fault in due:
            if counted is Counted.OPENED:
                self._timed.append((self.world.now_s + fault.later_s, fault))
                self._look_ahead()
            else:
                self._strike(fault, journalling=counted is Counted.JOURNALLED)

    # --- what happens ------------------------------------------------------------------------------------------

    def _strike(self, fault: Fault, *, journalling: bool = False) -> None:
        world, now_s = self.world, self.world.now_s
        self._set_up.append((fault, self._sign_of(fault)))
        if fault.kind in _GATE_SHUTTERS:
            world.observer.shut_by(now_s)
        if fault.kind in _HARMS:
            world.line.harm(_HARMS[fault.kind], fault.toward, lines=fault.lines, delay_s=fault.delay_s)
        elif fault.kind is FaultKind.RESET:
            world.line.hardware_reset(now_s)
        elif fault.kind is FaultKind.STALL:
            self._stalls.append(fault)
        elif fault.kind is FaultKind.ALARM:
            world.line.moving_at(now_s)
            world.task.case.spoken.fault(world.device, now_s)
        elif fault.kind is FaultKind.WRONG_POSITION:
            self._misplace(fault)
        elif fault.kind is FaultKind.UNPLUG:
            world.port.pull_cable()
        elif fault.kind is FaultKind.POWER_LOSS:
            self._lose_power(fault, journalling=journalling)
        elif fault.kind is FaultKind.DISK_FULL:
            world.disk.half = fault.choice < 0.3
            world.disk.full = not world.disk.half
        elif fault.kind is FaultKind.CLOCK_JUMP:
            world.clock.jump(fault.amount * _LONGEST_JUMP_S)
        else:
            world.stop.ask("by the operator")

    def _sign_of(self, fault: Fault) -> Callable[[], bool]:
        """What tells, later, whether the fault took effect; most do at once."""
        world = self.world
        if fault.kind in _HARMS:
            harm = _HARMS[fault.kind]
            before = world.line.harmed[harm]
            return lambda: world.line.harmed[harm] > before
        if fault.kind is FaultKind.DISK_FULL:
            refused = world.disk.refusals
            return lambda: world.disk.refusals > refused
        if fault.kind is FaultKind.STALL:
            return lambda: fault in self._slipped
        if fault.kind is FaultKind.WRONG_POSITION and fault.choice < _MISREADS:
            misread = world.line.harmed[Harm.MISREAD]
            return lambda: world.line.harmed[Harm.MISREAD] > misread
        return lambda: True

    def _misplace(self, fault: Fault) -> None:
        """A number on the line is misread, or reports are off for a while, or the board's own count is."""
        world = self.world
        steps = int(copysign(max(1.0, abs(fault.amount) * _MOST_MISCOUNT), fault.amount))
        if fault.choice < _MISREADS:
            world.line.harm(Harm.MISREAD, fault.toward, lines=fault.lines)
        elif fault.choice < 0.7:
            world.lie(steps, until_s=world.now_s + 10 * fault.delay_s)
        else:
            world.line.moving_at(world.now_s)
            miscount(world.device, world.task.case.axis, steps, world.now_s)
            if self._forgetful:  # a process that sees it and can't write it down any more: nobody can know
                self._unknown_place()

    def _slip(self, fault: Fault) -> None:
        self._slipped.append(fault)
        world = self.world
        steps = int(copysign(max(1.0, abs(fault.amount) * _MOST_SLIP), fault.amount))
        slip(world.device, world.task.case.axis, steps, world.now_s)
        self._unknown_place()  # nothing measures the part: no controller can see this

    def _unknown_place(self) -> None:
        self.world.slipped = True
        self.world.observer.place_known = False

    def _lose_power(self, fault: Fault, *, journalling: bool) -> None:
        """The process dies: before its line of the journal, in the middle of it, or with rubbish behind; the board may
        lose its power as well, and the marking side may go on alone.
        """
        world = self.world
        board_too = fault.choice < 0.3
        world.gate.goes_on = not board_too and fault.choice > 0.6
        if journalling:
            whole, disk = int(fault.choice * 1000) % 3, world.disk
            if whole:
                length = int(fault.choice * len(disk.line)) if whole == 1 else len(disk.line)
                rubbish = bytes(int(fault.choice * 50)) if fault.choice > 0.7 and whole == 1 else b""
                disk.tear(disk.line[:length], disk.descriptor, rubbish)
        if board_too:
            world.line.hardware_reset(world.now_s)
        world.die()
        raise Died
