"""Where a run stands: its journal, event by event, replayed. Whoever wants to know reads this and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from firmware_host.planning.route.moves import Route
from firmware_host.station.journal.events import (
    Assumed,
    Begin,
    End,
    Event,
    Finish,
    Finished,
    GateClosed,
    GateOpen,
    Home,
    JournalEvent,
    Move,
    PassDone,
    PositionLost,
    Release,
    Repeat,
    Resume,
    Skip,
    Standstill,
    Unwind,
    ZeroSet,
)
from firmware_host.station.journal.last_position import LastPosition, PositionReplay
from firmware_host.station.journal.order import OrderReplay
from firmware_host.station.journal.record import PassesReplay, RunRecord
from firmware_host.station.journal.schema1 import completed
from firmware_host.station.journal.stands import Session, Stand, StandsReplay


@dataclass(frozen=True)
class RunState:
    """Where a run stands after the last line of its journal.

    `lines`: how many there are; `begin`: the first one, None in an empty journal; `closed`: the last one ends the run.
    `record`: each pass, and how the run ended. `left`: where the axis was left; None where a journal of schema 1 does
    not tell it and has to be completed. `stands_still`: False where the last end could not make sure of it.
    `openings`: how often the gate opened; `disorder`: the first act that came out of order; `astray`: the first one
    that was not at the planned target of its segment; each empty if there was none.
    `sessions`: its start and each time it was resumed; `stands`: every standstill at a segment, in order.
    """

    lines: int
    begin: Begin | None
    closed: bool
    record: RunRecord
    left: LastPosition | None
    stands_still: bool
    openings: int
    disorder: str
    astray: str
    sessions: tuple[Session, ...] = ()
    stands: tuple[Stand, ...] = ()


def replay(events: Iterable[JournalEvent]) -> RunState:
    """Where a run stands after these events: those of its first start and of every time it was resumed, in order."""
    return _replayed(events).result()


def left_by(events: Iterable[JournalEvent], route: Route) -> LastPosition:
    """Where the axis was left; what a journal of schema 1 does not hold of it is taken from the job's route."""
    return _replayed(completed(events, route)).left


def _replayed(events: Iterable[JournalEvent]) -> _Replay:
    found = _Replay()
    for event in events:
        found.take(event)
    return found


class _Replay:
    """What the events so far amount to."""

    def __init__(self) -> None:
        self._begin: Begin | None = None
        self._last: Event | None = None
        self._lines = 0
        self._stands_still = True
        self._passes = PassesReplay()
        self._position = PositionReplay()
        self._order = OrderReplay()
        self._stands = StandsReplay()
        passes, position, order, stands = self._passes, self._position, self._order, self._stands
        self._handlers: Mapping[type[Event], tuple[Callable[[Any], None], ...]] = {
            Begin: (self._begins, passes.begin, position.begin, order.begin, stands.begins),
            Resume: (passes.resume, position.resume, order.resume, stands.begins),
            Assumed: (passes.assumed, order.assumed),
            Home: (order.set_off, stands.set_off),
            ZeroSet: (passes.zero, position.zero, stands.zero),
            Move: (order.move, position.move, stands.move),
            Standstill: (order.stand, passes.stand, position.stand, stands.stand),
            Unwind: (order.set_off, position.go, stands.set_off),
            GateOpen: (order.gate_open, passes.gate_open, stands.gate_open),
            GateClosed: (order.gate_closed, passes.gate_closed, stands.gate_closed),
            PassDone: (order.done, passes.done),
            Skip: (passes.skip, order.skip),
            Repeat: (passes.repeat, order.repeat),
            Finish: (order.set_off, position.go, stands.set_off),
            Finished: (position.finished,),
            Release: (position.released,),
            PositionLost: (position.position_lost,),
            End: (self._ends, passes.end, position.end, order.end),
        }

    def take(self, event: JournalEvent) -> None:
        """Add one event."""
        self._lines += 1
        self._last = event
        for handle in self._handlers[type(event)]:
            handle(event)
        self._stands.passes_by(event)

    def _begins(self, event: Begin) -> None:
        self._begin = event

    def _ends(self, event: End) -> None:
        self._stands_still = event.stands_still

    @property
    def left(self) -> LastPosition:
        """Where the axis was left, as far as the events tell."""
        return self._position.result()

    def result(self) -> RunState:
        """Where the run stands after all events taken."""
        sessions, stands = self._stands.result()
        return RunState(
            lines=self._lines,
            begin=self._begin,
            closed=isinstance(self._last, End),
            record=self._passes.result(self._last.time if self._last is not None else ""),
            left=self.left if self._position.complete else None,
            stands_still=self._stands_still,
            openings=self._order.openings,
            disorder=self._order.disorder,
            astray=self._order.astray,
            sessions=sessions,
            stands=stands,
        )
