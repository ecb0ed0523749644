"""Each standstill of a run: where the axis came from, when it set off and stood, and when its gate was open."""

from __future__ import annotations

from dataclasses import dataclass, replace

from firmware_host.station.journal.events import (
    Begin,
    Event,
    Finish,
    GateClosed,
    GateOpen,
    Home,
    Move,
    Resume,
    Standstill,
    Unwind,
    ZeroSet,
)


@dataclass(frozen=True, slots=True)
class Session:
    """A start of the run, or one of the times it was resumed: the calendar time (UTC, ISO 8601) and the clock then.

    `end_s`: the clock at its last line. Clocks of two sessions can't be compared.
    """

    time: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Opening:
    """The gate open for a pass, by the clock (s); `closed_s` is None where no line tells when it closed."""

    number: int
    opened_s: float
    closed_s: float | None


@dataclass(frozen=True, slots=True)
class Stand:
    """A standstill at a segment, in microsteps from the job's zero and seconds of the clock of its `session`.

    `target`: as planned; `reported`: to be compared with it. `start`, `position`: from where to where it was turned, as
    the controller counts; `set_off_s`: when the move was announced; each None where the journal does not tell.
    `stood_s`: when the standstill was proved. `followed`: it was turned from the standstill before, in one go.
    """

    segment: int
    target: int
    reported: float
    start: int | None
    position: int | None
    session: int
    set_off_s: float | None
    stood_s: float
    followed: bool
    openings: tuple[Opening, ...] = ()

    @property
    def index_s(self) -> float | None:
        """From setting off until the gate opened, s: turning, proving the standstill, settling. None: it never did."""
        return None if self.set_off_s is None or not self.openings else self.openings[0].opened_s - self.set_off_s


class StandsReplay:
    """Follows moves, standstills and gate through the events of a journal."""

    def __init__(self) -> None:
        self._sessions: list[tuple[str, float]] = []
        self._ends: list[float] = []
        self._stands: list[Stand] = []
        self._at: int | None = None
        self._stood: bool = False
        self._moved: tuple[float, int | None, bool] | None = None

    def begins(self, event: Begin | Resume) -> None:
        """A session begins: where the axis stands is not told yet."""
        self._sessions.append((event.time, event.clock_s))
        self._ends.append(event.clock_s)
        self._leaves(None)

    def passes_by(self, event: Event) -> None:
        """The session lasts at least until here."""
        if self._ends:
            self._ends[-1] = event.clock_s

    def zero(self, event: ZeroSet) -> None:
        """The axis stands here, as it is counted from now on."""
        self._leaves(event.at)

    def set_off(self, event: Home | Unwind | Finish) -> None:
        """It turns to no segment."""
        self._leaves(event.target if isinstance(event, Unwind) else None)

    def move(self, event: Move) -> None:
        """It sets off to a segment."""
        self._moved = event.clock_s, self._at, self._stood
        self._at, self._stood = None, False

    def stand(self, event: Standstill) -> None:
        """It stands there."""
        set_off_s, start, followed = self._moved if self._moved is not None else (None, None, False)
        if self._sessions:
            self._stands.append(
                Stand(
                    segment=event.segment,
                    target=event.target,
                    reported=event.reported,
                    start=start,
                    position=event.position,
                    session=len(self._sessions) - 1,
                    set_off_s=set_off_s,
                    stood_s=event.clock_s,
                    followed=followed,
                )
            )
        self._moved = None
        self._at, self._stood = event.position, True

    def gate_open(self, event: GateOpen) -> None:
        """The gate opens at this standstill."""
        if self._stood and self._stands:
            stand = self._stands[-1]
            opening = Opening(event.number, event.clock_s, None)
            self._stands[-1] = replace(stand, openings=(*stand.openings, opening))

    def gate_closed(self, event: GateClosed) -> None:
        """It closes."""
        stand = self._stands[-1] if self._stood and self._stands else None
        if stand is not None and stand.openings and stand.openings[-1].closed_s is None:
            closed = replace(stand.openings[-1], closed_s=event.clock_s)
            self._stands[-1] = replace(stand, openings=(*stand.openings[:-1], closed))

    def _leaves(self, at: int | None) -> None:
        self._at, self._stood, self._moved = at, False, None

    def result(self) -> tuple[tuple[Session, ...], tuple[Stand, ...]]:
        """The sessions, and the standstills of all of them in order."""
        sessions = tuple(Session(*start, end) for start, end in zip(self._sessions, self._ends, strict=True))
        return sessions, tuple(self._stands)
