"""What a controller that takes numbered lines is asked for: its step counts, and what kind of board it is."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction

from firmware_host.controller.axis import Connection
from firmware_host.controller.controller import Controller, Description
from firmware_host.controller.deadlines import ANSWER_S, STANDSTILL_S, STATUS_S
from firmware_host.controller.learned import Fact, Learned, Position, Source
from firmware_host.controller.numbered_line.base import NumberedDialect
from firmware_host.controller.numbered_line.boards import Answers, Board, board_for
from firmware_host.controller.numbered_line.exchanging import SETTLE_S
from firmware_host.controller.numbered_line.learned import Asked, learned_of
from firmware_host.controller.numbered_line.sender import NumberingSender
from firmware_host.controller.numbered_line.settings import PER_MINUTE, PrintedSettings, RateKeys
from firmware_host.controller.reply import (
    AxisState,
    Greeting,
    Reply,
    StartRule,
    StatusReport,
    TravelEnds,
    TravelKept,
)
from firmware_host.controller.sender import Exchange, shown
from firmware_host.errors import ControllerError, LineRejectedError

_QUIET_ANSWERS = 8
"""After so many usual answers without a byte, nothing more of an answer comes."""
_QUIET_LEAST_S = 0.06
"""A computer that is busy may look away for so long (s)."""
_SEEN_DIGITS = 0.75
"""Of the last decimal of a report: half of it is rounding."""


class NumberedAsking(Controller):
    """The part that only asks. Nothing moves."""

    def __init__(self, dialect: NumberedDialect, connection: Connection, axis: str) -> None:
        self.names = dialect.setting_names(axis)
        self.sender: NumberingSender = NumberingSender(
            connection.port, dialect, connection.clock, connection.trace, connection.check
        )
        super().__init__(self.sender, connection, axis)
        self.board = Board()
        """The kind of board; whoever needs to know what it does reads `learned`."""
        self.under_way = True
        """True if a motor may be moving, as far as is known."""
        self.homed: bool | None = None
        """Whether it was homed since it was reset; None: not known."""
        self.rates = RateKeys.of(self.names.rate, PrintedSettings({}, None), self.stated)
        self._last_counts: Mapping[str, int] | None = None
        self._lists_stored = False
        self._answers = Answers()

    @property
    def dialect(self) -> NumberedDialect:
        return self.sender.dialect

    # --- learning --------------------------------------------------------------------------------------------------

    def _learn(self, greeting: Greeting | None, *, drop_held_motion: bool) -> Greeting | None:
        """Waits for motion that was left behind: only then does the axis surely stand still."""
        self.sender.resynchronise()
        self._learn_position()
        self.settle()
        self.as_stored = greeting is not None
        self.read_settings()
        self._learn_travel()
        self._count(self._timed_status())
        if greeting is None and self.sender.count_found == 0:
            greeting = Greeting("did not greet, but counts lines from the beginning: it was reset")
        self.homed = None if greeting is None else False
        return greeting

    @abstractmethod
    def settle(self, timeout_s: float = STANDSTILL_S) -> StatusReport:
        """Wait until all motion has ended and two reports agree. Raises StandstillError after `timeout_s` (s)."""

    def _learn_position(self) -> StatusReport:
        """How the position is asked so that whole steps come back."""
        report = self.sender.request_status(STATUS_S)
        if report.counts is None and self.dialect.steps_query():
            self.sender.counts_apart = True
            report = self.sender.request_status(STATUS_S)
        return report

    def _learn_travel(self) -> None:
        """Ask for the travel, where the listing of settings has not told it."""
        query = self.dialect.travel_query()
        if self._answers.travel or not query:
            return
        try:
            payload = self.sender.ask(query, timeout_s=ANSWER_S, until=_tells_travel).payload
        except LineRejectedError:
            return  # this board doesn't know the word
        kept = all(reply.on for reply in payload if isinstance(reply, TravelKept))
        self._answers = replace(self._answers, travel=_travel(payload), keeps_travel=kept)

    def take_listing(self, payload: Iterable[Reply], printed: PrintedSettings) -> None:
        """Take note of what was listed: it tells which kind of board this is, and how its settings are called."""
        heard, sender = tuple(payload), self.sender
        rules = [reply.jumps for reply in heard if isinstance(reply, StartRule)]
        travel = _travel(heard) or self._answers.travel
        self._answers = Answers(
            axes="".join(self._last_counts or ()),
            counts_apart=sender.counts_apart,
            repeats_lines=sender.repeats_lines,
            numbers_answers=sender.numbers_answers,
            prints_behind=bool(sender.prints_behind),
            lists_stored=self._lists_stored,
            printed=printed.texts,
            rates_per_s=self._answers.rates_per_s if printed.rates_per_s is None else printed.rates_per_s,
            jumps=rules[-1] if rules else self._answers.jumps,
            travel=travel,
            keeps_travel=self._answers.keeps_travel,
        )
        self._choose_board()

    def _settled(self, texts: dict[str, str]) -> dict[str, str]:
        """The kind of board is told by what readings have agreed on: one line of the last may have come damaged."""
        self._answers = replace(self._answers, printed={key.removesuffix(PER_MINUTE): texts[key] for key in texts})
        self._choose_board()
        return texts

    def _choose_board(self) -> None:
        self.board = board_for(self.dialect.boards, self._answers)
        self.names = self.board.setting_names(self.dialect.setting_names(self.axis), self.axis)

    @property
    def learned(self) -> Learned:
        rates = (self.rates.written_per_s, self.rates.listed_per_s)
        asked = Asked(self.board, self._answers, self.settings, self.answer_time.usual_s, self.homed, rates)
        return learned_of(asked)

    @property
    def lists_stored(self) -> bool:
        return self._lists_stored

    # --- asking ----------------------------------------------------------------------------------------------------

    def ask(self, line: bytes, timeout_s: float = ANSWER_S) -> Exchange:
        """As `Axis.ask`. Where a complaint comes behind the answer, a question after it brings that to light.

        So a line that the board has answered and yet not carried out is refused here (LineRejectedError).
        """
        exchange = self.sender.ask(line, timeout_s=timeout_s)
        if not self.sender.prints_behind:
            return exchange
        number = self.sender.number
        report = self.sender.request_status(STATUS_S)
        late_number, complaint = self.sender.late
        if complaint and late_number == number:
            raise LineRejectedError(complaint, line=shown(line))
        self._require_taken(line, report)
        return exchange

    def _require_taken(self, line: bytes, report: StatusReport) -> None:
        """Where the planned place is reported, a move that was accepted shows in it; else it was left out."""
        target = self.dialect.target_of(line, self.axis)
        if target is None or self.learned.position != Fact(Position.PLANNED, Source.DIALECT):
            return
        near = _SEEN_DIGITS * 10**-self.dialect.position_decimals
        if abs(self.position(report) - target) <= near:
            return
        report = self.sender.request_status(STATUS_S)  # one misread digit is no other place
        if abs(self.position(report) - target) > near:
            detail = f"the move was not made: it stays at {self.position(report):g} units"
            ends = self.learned.travel_units.value
            bounds = "" if ends is None else f", and keeps between {ends[0]:g} and {ends[1]:g} units"
            raise LineRejectedError(detail + bounds, line=shown(line))

    def status(self, timeout_s: float = STATUS_S) -> StatusReport:
        """One fresh report. Its state is ready only if no move was sent since motion had ended and nothing changed."""
        if self.sender.out_of_step:
            self.sender.resynchronise()
        report = self.sender.request_status(timeout_s)
        changed = self._last_counts is not None and self._last_counts != report.counts
        self._last_counts = report.counts
        moving = self.under_way or self.homing or changed
        return replace(report, state=AxisState.MOVING if moving else AxisState.READY)

    def _timed_status(self) -> StatusReport:
        """One report; how long it takes is learned."""
        asked_s = self.clock.monotonic()
        report = self.status()
        self.answer_time.note(self.clock.monotonic() - asked_s)
        self.sender.quiet_s = min(max(_QUIET_ANSWERS * self.answer_time.usual_s, _QUIET_LEAST_S), SETTLE_S)
        return report

    def position(self, report: StatusReport) -> float:
        if report.machine is None or self.axis not in report.letters:
            raise ControllerError(f"reports axes {report.letters}; axis {self.axis} is not among them")
        return report.machine[report.letters.index(self.axis)]

    def position_steps(self, report: StatusReport, steps_per_unit: Fraction | None = None) -> float:
        return float(self._count(report))

    def _count(self, report: StatusReport) -> int:
        counts = report.counts or {}
        if not counts:
            raise ControllerError("it tells no whole steps, so a position can't be proved: this board can't be used")
        if self.axis not in counts:
            raise ControllerError(f"counts steps of axes {''.join(counts)}; axis {self.axis} is not among them")
        return counts[self.axis]

    def resolution_steps(self, report: StatusReport, steps_per_unit: Fraction | None = None) -> float:
        return 0.0  # steps are counted, not rounded

    def same_place(self, first: StatusReport, second: StatusReport) -> bool:
        return first.counts == second.counts and first.machine == second.machine

    def describe(self) -> Description:
        """Sets the count back to what it was, so that a later owner still sees whether it was reset."""
        self.sender.resynchronise()
        report = self._learn_position()
        settings = self._settings_once()
        self.sender.realtime(self.dialect.count_from(self.sender.count_found or 0))
        letters = "".join(letter for letter in report.letters if letter in (report.counts or {}))
        return Description(letters, None, self.sender.blocks_free or None, settings)


def _tells_travel(payload: Iterable[Reply]) -> bool:
    return any(isinstance(reply, TravelEnds) for reply in payload)


def _travel(payload: Iterable[Reply]) -> Mapping[str, tuple[float, float]]:
    """Lowest and highest coordinate of each axis of which both ends are told."""
    lowest: dict[str, float] = {}
    highest: dict[str, float] = {}
    lengths: dict[str, float] = {}
    for reply in payload:
        if isinstance(reply, TravelEnds):
            lowest.update(reply.lowest)
            highest.update(reply.highest)
            lengths.update(reply.lengths)
    highest.update({axis: lowest[axis] + length for axis, length in lengths.items() if axis in lowest})
    return {axis: (lowest[axis], highest[axis]) for axis in lowest if axis in highest}
