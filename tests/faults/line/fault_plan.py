"""Which faults hit a run, and when: drawn from a seed, so that any of them can be had again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from random import Random

from tests.faults.line.fault_line import Toward


class FaultKind(Enum):
    """What can happen to a run."""

    DROP = "drop"
    CORRUPT = "corrupt"
    DELAY = "delay"
    DUPLICATE = "duplicate"
    RESET = "reset"
    STALL = "stall"
    ALARM = "alarm"
    WRONG_POSITION = "wrong position"
    UNPLUG = "unplug"
    POWER_LOSS = "power loss"
    DISK_FULL = "disk full"
    CLOCK_JUMP = "clock jump"
    STOP = "stop"
    """The operator's wish, at any instant."""


class Counted(Enum):
    """What tells that a fault is due."""

    TIME = "seconds of running"
    SENT = "writes to the line"
    JOURNALLED = "writes of the journal"
    OPENED = "openings of the gate"


@dataclass(frozen=True)
class Fault:
    """One fault. It is due when `counted` has come to `value`, and after an opening of the gate `later_s` (s) more.

    `toward`, `lines` and `delay_s` (s) are for harm to the line; `amount`, from -1 to 1 but 0, is a size and a sign;
    `choice`, from 0 to 1, picks one of the ways in which such a fault happens.
    """

    kind: FaultKind
    counted: Counted
    value: float
    later_s: float
    toward: Toward
    lines: int
    delay_s: float
    amount: float
    choice: float


@dataclass(frozen=True)
class Extent:
    """How far an undisturbed run counts, so that faults fall into it: s, writes, lines of journal, openings."""

    duration_s: float
    sent: int
    journalled: int
    opened: int
    pass_s: float


_HOW_MANY = (0, 1, 1, 1, 1, 2, 2, 2, 3, 3)


def draw_faults(random: Random, extent: Extent, kinds: Sequence[FaultKind] = tuple(FaultKind)) -> tuple[Fault, ...]:
    """None to three faults out of `kinds`."""
    return tuple(draw_fault(random, extent, random.choice(kinds)) for _ in range(random.choice(_HOW_MANY)))


def draw_fault(random: Random, extent: Extent, kind: FaultKind) -> Fault:
    """One fault of a kind, somewhere in a run of this extent or a little after it (a resumed run is longer)."""
    counted = random.choice(tuple(Counted))
    most = {
        Counted.TIME: 1.3 * extent.duration_s,
        Counted.SENT: 1.3 * extent.sent,
        Counted.JOURNALLED: 1.2 * extent.journalled,
        Counted.OPENED: float(extent.opened),
    }[counted]
    value = random.uniform(0.0, most) if counted is Counted.TIME else float(random.randint(1, max(1, int(most))))
    return Fault(
        kind=kind,
        counted=counted,
        value=value,
        later_s=random.uniform(0.0, 1.2 * extent.pass_s),
        toward=random.choice(tuple(Toward)),
        lines=random.choice((1, 1, 1, 2, 5)),
        delay_s=random.choice((0.02, 0.2, 1.0, 3.0, 12.0)) * random.uniform(0.5, 1.5),
        amount=random.choice((-1.0, 1.0)) * random.uniform(0.02, 1.0),
        choice=random.random(),
    )
