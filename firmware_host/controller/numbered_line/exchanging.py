"""Sends numbered lines one at a time, repeats those that were damaged or not answered, and never has one done twice.

The controller carries out a line only if its number is the next one. So a line without an answer is sent again under
the same number: either it is carried out now, or the controller says that it had it already. The controller's count
also shows a reset after which it sent no greeting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from firmware_host.clock import Clock
from firmware_host.controller.numbered_line.base import NumberedDialect
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import Trace, TraceKind
from firmware_host.controller.reply import (
    Accepted,
    AlarmReport,
    Busy,
    Complaint,
    Damaged,
    Greeting,
    Message,
    Rejected,
    Repeated,
    Reply,
    Resend,
    Skipped,
    Unknown,
    UnknownWord,
    Waiting,
)
from firmware_host.controller.sender import FLOOD_S, QUIET_S, Exchange, Sender, shown
from firmware_host.errors import (
    ControllerResetError,
    LineRejectedError,
    UnexpectedReplyError,
)

REPEAT_S = 0.5
"""A line without an answer is sent again after this time (s), then after twice the time, and so on."""
LONG_REPEAT_S = 3.0
"""The same for a line that takes long: more than the pause between two signs of life, which is usually 2 s."""
BUSY_S = 30.0
"""How long signs of life may put off the deadline of a line (s)."""
SETTLE_S = 0.25
"""After a line was sent more than once, the port has to be quiet for this long before the next line (s)."""

Until = Callable[[Sequence[Reply]], bool]


@dataclass(frozen=True)
class Patience:
    """How long a line is waited for (s, `latest_s` monotonic s); see `ExchangingSender.ask`."""

    timeout_s: float
    latest_s: float
    repeat_s: float
    received_s: float
    brief: bool = False


@dataclass
class Pending:
    """The line that has not been answered yet."""

    number: int
    line: bytes
    sent_at_s: float
    deadline_s: float
    falls_back: bool = False
    """The controller may not have taken the line before: this one may then have its number."""
    sends: int = 0
    payload: list[Reply] = field(default_factory=list)
    complaint: str = ""
    damaged: bool = False
    """It was said to have come damaged: an answer without its number acknowledges nothing."""
    disagreed: int | None = None
    received: bool = False
    answer: Accepted | None = None
    certain: bool = True


class ExchangingSender(Sender):
    """Sends one line and hears its answer, in step. Not safe for use by two threads at once."""

    def __init__(
        self, port: Port, dialect: NumberedDialect, clock: Clock, trace: Trace, check: Callable[[], None] = lambda: None
    ) -> None:
        super().__init__(port, dialect, clock, trace, check)
        self.dialect: NumberedDialect = dialect
        self.number = 0
        """Of the last line sent."""
        self.count_found: int | None = None
        """How many lines the controller had counted when it was first asked; 0: it has just been reset."""
        self.blocks_free = 0
        """The most moves that an answer has said it can still take in; 0: not told."""
        self.repeats_lines = False
        """True if it has repeated a line before it answered it."""
        self.numbers_answers = False
        """True if an answer carried the number of its line."""
        self.prints_behind: bool | None = None
        """Whether what a line prints comes behind its answer; None: not seen yet."""
        self.counts_apart = False
        """True if whole steps have to be asked for, and come on a line of their own."""
        self.late = (0, "")
        """The last complaint about a line that had been answered before: its number, as far as known, and what."""
        self.quiet_s = SETTLE_S
        """After such a silence nothing more of an answer is on its way (s); shorter once its usual time is known."""
        self._listing = False
        self._introducing = False
        self._counting = False
        self._counts_steps = False
        self._letters: tuple[str, str] | None = None
        self._owed = False
        """True if the answer to the line before may still come."""
        self._pending: Pending | None = None
        self._out_of_step = "its line count is not known yet"

    # --- sending ---------------------------------------------------------------------------------------------------

    @property
    def _unanswered_since_s(self) -> float | None:
        return None if self._pending is None else self._pending.sent_at_s

    def ask(
        self,
        line: bytes,
        *,
        timeout_s: float,
        latest_s: float | None = None,
        repeat_s: float = REPEAT_S,
        patience_s: float = SETTLE_S,
        until: Until | None = None,
        brief: bool = False,
    ) -> Exchange:
        """As `Sender.ask`. A sign of life puts the deadline off, at most to `latest_s` (monotonic s).

        A line that is known to have been received is not sent again; its answer is waited for another `patience_s`
        (s), after which the exchange is not `certain`.

        `until`: replies are collected, also after the answer, until `until` says that all are there, or nothing more
        has come for some time; that is short for a `brief` answer of a line or two.
        """
        now_s = self.clock.monotonic()
        latest_s = now_s + timeout_s + BUSY_S if latest_s is None else latest_s
        self._check_line(line)
        self.number += 1
        pending = Pending(self.number, line, now_s, min(now_s + timeout_s, latest_s))
        return self._exchange(pending, Patience(timeout_s, latest_s, repeat_s, patience_s, brief), until)

    def break_off(self, line: bytes) -> None:
        """Send `line` at once, whatever is still unanswered, so that nothing sent before is asked for again.

        The count is not known afterwards: `resynchronise` before the next line.
        """
        self._pending = None
        self._counting = False
        self._lose_step("it was broken off by a stop")
        self.realtime(self.dialect.count_from(0) + self.dialect.numbered(1, line))

    def _check_line(self, line: bytes) -> None:
        if len(line) > self.dialect.max_line_bytes:
            detail = f"{len(line)} bytes long, limit {self.dialect.max_line_bytes}; nothing was sent"
            raise LineRejectedError(detail, line=shown(line))
        if self._pending is not None:
            self._lose_step("an earlier line was left without its answer")
        else:
            self.listen(0.0)
        if self._out_of_step:
            detail = f"{self._out_of_step}; nothing is sent until the answers fit again"
            raise UnexpectedReplyError(self.port.url, detail)

    def _exchange(self, pending: Pending, patience: Patience, until: Until | None) -> Exchange:
        self._pending = pending
        with self._listed(until is not None):
            while pending.answer is None:
                self._transmit(pending)
                self._hear(pending, patience)
            answered_at_s, before = self.clock.monotonic(), len(pending.payload)
            if until is not None:
                self._hear_output(pending, until, brief=patience.brief)
        self._pending = None
        if self.prints_behind is None and pending.payload and pending.sends == 1 and not pending.damaged:
            self.prints_behind = before == 0
        if pending.sends > 1 or self._owed:
            self._await_quiet(self.quiet_s, FLOOD_S)  # answers to what was sent more than once
        self._owed = not pending.certain
        if pending.complaint:
            raise LineRejectedError(pending.complaint, line=shown(pending.line))
        payload = tuple(pending.payload)
        return Exchange(pending.line, payload, pending.answer, pending.sent_at_s, answered_at_s, pending.certain)

    @contextmanager
    def _listed(self, listing: bool) -> Iterator[None]:
        """Inside, words for a person are part of an answer, and not kept as what was said unasked."""
        outer, self._listing = self._listing, self._listing or listing
        try:
            yield
        finally:
            self._listing = outer

    def _keep(self, reply: Reply) -> None:
        """Words behind a greeting, before anything was sent, are for a person, whatever they are."""
        if self._introducing and isinstance(reply, Unknown) and reply.raw.isascii() and reply.raw.strip():
            self.messages.append(reply.raw.decode("ascii").strip())
        elif not (self._listing and isinstance(reply, Message)):
            super()._keep(reply)

    def realtime(self, request: bytes) -> None:
        self._introducing = False
        super().realtime(request)

    def _transmit(self, pending: Pending) -> None:
        pending.sends += 1
        pending.damaged = False
        data = self.dialect.numbered(pending.number, pending.line)
        self._trace.record(TraceKind.SENT, data)
        self.port.write(data)

    # --- receiving -------------------------------------------------------------------------------------------------

    def _hear(self, pending: Pending, patience: Patience) -> None:
        """Take in what comes until the line is answered or has to be sent again; ReplyTimeoutError at its deadline."""
        repeat_s = patience.repeat_s * 2 ** (pending.sends - 1)
        repeat_at_s = self.clock.monotonic() + repeat_s
        looked = False
        while pending.answer is None:
            latest_s = max(patience.latest_s, self._kept_away[1])
            in_time = self.clock.monotonic() < latest_s or not looked  # it may be this process that is late
            reply = self._next(min(repeat_at_s, pending.deadline_s)) if in_time else None
            looked = True
            now_s = self.clock.monotonic()
            if reply is None:
                self._heard_nothing(pending, min(pending.deadline_s, patience.latest_s))
                return
            heard = len(pending.payload)
            if not isinstance(reply, Resend | Skipped):
                self._deliver(reply)
            elif self._asked_again(pending, reply):
                return
            else:
                repeat_at_s = now_s + patience.received_s
            if pending.damaged and pending.answer is None and isinstance(reply, Accepted):
                return  # the request to send it again was lost
            if isinstance(reply, Busy | Message) or len(pending.payload) > heard:
                repeat_at_s = now_s + repeat_s
                pending.deadline_s = min(now_s + patience.timeout_s, patience.latest_s)

    def _heard_nothing(self, pending: Pending, deadline_s: float) -> None:
        """A line that was received is not repeated; any other is sent again, unless its time is up."""
        now_s = self.clock.monotonic()
        if pending.received:
            pending.answer, pending.certain = Accepted(), False
        elif now_s >= deadline_s:
            raise self._unanswered(pending.line, now_s - pending.sent_at_s)

    def _hear_output(self, pending: Pending, until: Until, *, brief: bool) -> None:
        """What a line prints may come behind its answer; `brief`: it has no more than a line or two to say."""
        end_s = self.clock.monotonic() + BUSY_S
        while not until(pending.payload) and (now_s := self.clock.monotonic()) < end_s:
            reply = self._next(now_s + (self.quiet_s if brief else SETTLE_S))
            if reply is None:
                return
            if isinstance(reply, Resend | Skipped):
                self._keep(reply)
            else:
                self._deliver(reply)

    def _asked_again(self, pending: Pending, reply: Resend | Skipped) -> bool:
        """True if the line has to be sent again; otherwise it is known by now that it was received."""
        wanted = self._behind_resend(reply)
        pending.complaint, pending.damaged = "", False
        if wanted == pending.number + 1:
            pending.received = True
            return False
        if wanted == pending.number - 1 and pending.falls_back:
            self.number = pending.number = wanted
            pending.falls_back = False
        elif wanted != pending.number:
            if pending.disagreed == wanted:
                self._count_lost(wanted)
            pending.disagreed = wanted
        return True

    def _behind_resend(self, reply: Resend | Skipped) -> int:
        """The number wanted. The answer behind a request to send again acknowledges nothing: it is taken out here."""
        wanted = reply.number + (1 if isinstance(reply, Skipped) else 0)
        end_s = self.clock.monotonic() + QUIET_S
        while (later := self._next(end_s)) is not None:
            if isinstance(later, Accepted):
                break
            if isinstance(later, Resend):
                wanted = later.number
            elif not isinstance(later, Skipped | Complaint):
                self._raise_or_keep(later)
        return wanted

    def _count_lost(self, wanted: int) -> None:
        """The controller asked twice for another line number: it was reset, or somebody else talks to it."""
        self._pending = None
        self._forget()
        self.position_lost = ControllerResetError(
            f"it wants line {wanted} where line {self.number} is next: it was reset, or somebody else has talked to "
            "it; its position is lost. Home it or set zero anew"
        )
        raise self.position_lost

    def _deliver(self, reply: Reply) -> None:
        pending = self._pending
        if isinstance(reply, Accepted):
            self._answer(reply)
        elif isinstance(reply, Greeting):
            self._lose_position_by_reset()
        elif isinstance(reply, AlarmReport):
            self._lose_step("an alarm came")
            self._counting = False
            raise self._lose_position(reply)
        elif isinstance(reply, Complaint):
            self._take_complaint(reply)
        elif isinstance(reply, Repeated):
            self.repeats_lines = True
        elif isinstance(reply, Resend | Skipped):
            self._unasked_resend(reply)
        elif pending is not None and not isinstance(reply, Message | Busy | Waiting | Unknown | Rejected):
            self._take_in(pending.payload, reply)
        else:
            self._keep(reply)

    def _belongs_before(self) -> bool:
        """True if what comes now was printed by a line that had been answered before."""
        pending = self._pending
        return bool(self.prints_behind) and (pending is None or (pending.answer is None and not pending.received))

    def _take_complaint(self, reply: Complaint) -> None:
        pending = self._pending
        number = reply.number if isinstance(reply, UnknownWord) else None
        if isinstance(reply, Damaged):
            if pending is not None:
                pending.damaged = True
        elif pending is None or number not in (None, pending.number) or (number is None and self._belongs_before()):
            before = self.number if pending is None else pending.number - 1
            self.late = (before if number is None else number, reply.meaning)
            self.messages.append(reply.meaning)
        else:
            pending.complaint = reply.meaning

    def _answer(self, reply: Accepted) -> None:
        self.blocks_free = max(self.blocks_free, reply.blocks_free or 0)
        pending = self._pending
        if reply.number is not None:
            self.numbers_answers = True
        elif pending is not None and pending.damaged:
            return
        if pending is None or pending.answer is not None or reply.number not in (None, pending.number):
            self._stray(self._last_line)
            if pending is None and (reply.number is None or reply.number > self.number):
                self._lose_step("an answer came that no line waits for")
                raise UnexpectedReplyError(self.port.url, f"{self._out_of_step}: {reply}")
            return
        pending.answer = reply

    def _unasked_resend(self, reply: Resend | Skipped) -> None:
        """Noise on the line makes the controller ask for the next line, which is due anyway; or the count is lost."""
        wanted = self._behind_resend(reply)
        if wanted != self.number + 1:
            self._lose_step(f"it asks for line {wanted} where line {self.number + 1} is next")
            raise UnexpectedReplyError(self.port.url, self._out_of_step)
