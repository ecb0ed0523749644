"""Sends lines and matches every answer to its line, strictly in order.

Character counting: the bytes of all unanswered lines together never exceed what the controller's receive buffer takes.
A lost, late, doubled or damaged answer makes the fate of the unanswered lines unknown: the sender then refuses further
lines until `resynchronise` has proved that questions and answers belong together again.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from firmware_host.clock import Clock
from firmware_host.controller.deadlines import STATUS_LEAST_S
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import Trace, TraceKind
from firmware_host.controller.reply import (
    Accepted,
    AlarmReport,
    Greeting,
    Message,
    Rejected,
    Reply,
    SettingLine,
    StatusReport,
    Unknown,
)
from firmware_host.controller.sender import FLOOD_S, MOST_PAYLOAD, QUIET_S, Exchange, Sender, shown
from firmware_host.controller.status_query.base import StateWordDialect
from firmware_host.errors import LineRejectedError, ReplyTimeoutError, UnexpectedReplyError

STATUS_RETRY_S = 0.25
"""After this time without a report the status is asked for again (s)."""
ASK_AGAIN_S = 0.4
"""So long after opening or a reset it is asked for its state, and then each time anew: boards that greet do so within
0.35 s of either (measured), or while they start and hear nothing; one that answers without having greeted won't."""
SYNC_ATTEMPT_S = 1.0
"""How long one attempt to find the step again waits for its answer (s)."""


@dataclass
class _Pending:
    """A line that has not been answered yet."""

    line: bytes
    sent_at_s: float
    payload: list[Reply] = field(default_factory=list)


class CountingSender(Sender):
    """For dialects with a state word. Not safe for use by two threads at once."""

    def __init__(
        self,
        port: Port,
        dialect: StateWordDialect,
        clock: Clock,
        trace: Trace,
        check: Callable[[], None] = lambda: None,
    ) -> None:
        super().__init__(port, dialect, clock, trace, check)
        self.dialect: StateWordDialect = dialect
        self.usable_bytes = dialect.default_buffer_bytes
        """Bytes that may be unanswered at a time."""
        self._pending: deque[_Pending] = deque()
        self._answered: deque[Exchange] = deque()
        self._report: StatusReport | None = None
        self._report_awaited = False
        self._report_overdue = False
        self._refusing = False
        """True if it may refuse lines unread, because of an error before, until it gets a line without effect."""
        self.reset_awaited = False
        """True if it hears no line until it is reset."""
        self.reset_took_s: float | None = None
        """From the last request for a reset to the greeting (s); None: not seen."""
        self.report_took_s = 0.0
        """From the last request for a report to the report (s)."""

    # --- sending ---------------------------------------------------------------------------------------------------

    @property
    def unanswered_bytes(self) -> int:
        """Bytes sent whose lines have not been answered."""
        return sum(len(pending.line) for pending in self._pending)

    @property
    def _unanswered_since_s(self) -> float | None:
        return self._pending[0].sent_at_s if self._pending else None

    def ask(self, line: bytes, *, timeout_s: float) -> Exchange:
        """Send one line when all before it are answered, and return its exchange.

        Raises LineRejectedError if it is refused, ReplyTimeoutError after `timeout_s` (s) without an answer,
        UnexpectedReplyError for a damaged one, ControllerResetError, ControllerFaultError, PortLostError.
        """
        return self.stream((line,), timeout_s=timeout_s)[0]

    def stream(self, lines: Iterable[bytes], *, timeout_s: float) -> tuple[Exchange, ...]:
        """Send `lines` as fast as the buffer takes them; return all exchanges in order.

        `timeout_s` (s) is the time each line may take, counted from when all lines before it are answered. After a
        refused line nothing more is sent; the answers to what is on its way are awaited, then LineRejectedError tells
        the first refusal. A line that stores goes alone. Other errors as for `ask`.
        """
        done: list[Exchange] = []
        alone = False
        if self._pending or self._answered:
            self._lose_step("an earlier line was left without its answer")
        for line in lines:
            self._check_line(line)
            stores = self.dialect.stores(line)
            while self._pending and (alone or stores or self.unanswered_bytes + len(line) > self.usable_bytes):
                self._collect(done, timeout_s)
            self._raise_refused(done, timeout_s)
            if self._refusing and self.dialect.may_stay_refused(line):
                self._end_refusing(done, timeout_s)
            self._send(line)
            alone = stores
        while self._pending:
            self._collect(done, timeout_s)
        self._raise_refused(done, timeout_s)
        return tuple(done)

    def _end_refusing(self, done: list[Exchange], timeout_s: float) -> None:
        """Let no line be refused for an error before it: a line without effect ends that, once all are answered."""
        while self._pending:
            self._collect(done, timeout_s)
        self._raise_refused(done, timeout_s)
        self._send(self.dialect.clear_line())
        self._collect([], timeout_s)

    def _check_line(self, line: bytes) -> None:
        limit = min(self.dialect.max_line_bytes, self.usable_bytes)
        if len(line) > limit:
            raise LineRejectedError(f"{len(line)} bytes long, limit {limit}; nothing was sent", line=shown(line))
        if self._out_of_step:
            detail = f"{self._out_of_step}; nothing is sent until the answers fit again"
            raise UnexpectedReplyError(self.port.url, detail)

    def _send(self, line: bytes) -> None:
        self._pending.append(_Pending(line, self.clock.monotonic()))
        self._trace.record(TraceKind.SENT, line)
        self.port.write(line)

    def _collect(self, done: list[Exchange], timeout_s: float) -> None:
        """Wait for the answer to the oldest line and move it to `done`."""
        started_s = max(self._pending[0].sent_at_s, done[-1].answered_at_s if done else 0.0)
        while not self._answered:
            reply = self._next(started_s + timeout_s)
            if reply is None:
                raise self._unanswered(self._pending[0].line, timeout_s)
            self._deliver(reply)
        done.append(self._answered.popleft())

    def _raise_refused(self, done: list[Exchange], timeout_s: float) -> None:
        if not any(isinstance(exchange.answer, Rejected) for exchange in done):
            return
        while self._pending:
            self._collect(done, timeout_s)
        for exchange in done:
            if isinstance(exchange.answer, Rejected):
                answer = exchange.answer
                raise LineRejectedError(answer.meaning, line=shown(exchange.line), code=answer.code)

    # --- receiving -------------------------------------------------------------------------------------------------

    def request_status(self, timeout_s: float) -> StatusReport:
        """One fresh report: reports that arrived before asking are not used; a damaged one is asked for again.

        Raises ReplyTimeoutError after `timeout_s` (s), and as `listen`.
        """
        deadline_s = self.clock.monotonic() + timeout_s
        self._report_awaited = False
        self.listen(QUIET_S if self._report_overdue else 0.0)
        attempts = 0
        while True:
            self._report, self._report_awaited, self._report_overdue = None, True, True
            asked_s = self.clock.monotonic()
            self.realtime(self.dialect.status_request())
            attempts += 1
            sent_s = self.clock.monotonic()
            self._await_report(min(max(deadline_s, sent_s + STATUS_LEAST_S), sent_s + STATUS_RETRY_S))
            if self._report is not None:
                self._report_awaited, self._report_overdue = False, attempts > 1
                self.report_took_s = self.clock.monotonic() - asked_s
                return self._report
            if self.clock.monotonic() >= deadline_s:
                raise ReplyTimeoutError(self.port.url, "the state of the axis is unknown", "status", timeout_s)

    def _await_report(self, deadline_s: float) -> None:
        while self._report is None:
            reply = self._next(deadline_s)
            if reply is None:
                return
            self._deliver(reply)
            if isinstance(reply, Unknown):
                return

    def await_greeting(self, timeout_s: float) -> Greeting | None:
        """As `Sender.await_greeting`; soon it is asked for its state as well, and if it answers, no greeting will come.

        A greeting that has any words stands before that answer. Whatever comes later is for the next who asks.
        """
        deadline_s = self.clock.monotonic() + timeout_s
        unanswered = 0
        greeting: Greeting | None = None
        while (left_s := deadline_s - self.clock.monotonic()) > 0:
            greeting = self._greeting_within(min(left_s, ASK_AGAIN_S), asked=unanswered > 0)
            if greeting is not None or self._report is not None:
                unanswered -= greeting is None
                break
            self.realtime(self.dialect.status_request())
            unanswered += 1
        self._report_overdue = unanswered > 0
        return greeting

    def _greeting_within(self, duration_s: float, *, asked: bool) -> Greeting | None:
        """A greeting, if one comes within `duration_s` (s) and before a report that was `asked` for, which is kept."""
        self._report = None
        deadline_s = self.clock.monotonic() + duration_s
        while (reply := self._next(deadline_s)) is not None:
            if isinstance(reply, Greeting):
                self._forget()
                return reply
            if asked and isinstance(reply, StatusReport):
                self._report = reply
                return None
            if isinstance(reply, AlarmReport):
                self._lose_position(reply)
            self._keep(reply)
        return None

    def _deliver(self, reply: Reply) -> None:
        """Give a reply to whoever waits for it; raise what the caller must know at once."""
        if isinstance(reply, Accepted | Rejected):
            self._answer(reply)
        elif isinstance(reply, StatusReport):
            if self._report_awaited:
                self._report = reply
        elif isinstance(reply, Greeting):
            self._lose_position_by_reset()
        elif isinstance(reply, AlarmReport):
            if self._pending:
                self._lose_step("an alarm came before the answer")
            raise self._lose_position(reply)
        elif isinstance(reply, Unknown):
            self._damage(reply)
        elif self._pending and not isinstance(reply, Message):
            self._take_in(self._pending[0].payload, reply)
        else:
            self._keep(reply)

    def _next(self, deadline_s: float) -> Reply | None:
        reply = super()._next(deadline_s)
        self.reset_awaited = self.reset_awaited or (reply is not None and self.dialect.awaits_reset(reply))
        return reply

    def _answer(self, reply: Accepted | Rejected) -> None:
        if not self._pending:
            self._stray(self._last_line)
            self._lose_step("an answer came that no line waits for")
            raise UnexpectedReplyError(self.port.url, f"{self._out_of_step}: {reply}")
        oldest = self._pending.popleft()
        if isinstance(reply, Rejected):
            self._refusing = True
        elif oldest.line == self.dialect.clear_line():
            self._refusing = False
        exchange = Exchange(oldest.line, tuple(oldest.payload), reply, oldest.sent_at_s, self.clock.monotonic())
        self._answered.append(exchange)

    def _damage(self, reply: Unknown) -> None:
        """Bytes that fit nothing: harmless unless they may have been an answer."""
        self._stray(reply.raw)
        if not self._pending:
            return
        self._lose_step(f"damaged or foreign bytes {reply.raw!r} came where an answer was due")
        deadline_s = self.clock.monotonic() + QUIET_S
        while (later := self._next(deadline_s)) is not None:
            if isinstance(later, Greeting | AlarmReport):
                self._deliver(later)
            self._keep(later)
        raise UnexpectedReplyError(self.port.url, self._out_of_step)

    # --- in step and out of step -----------------------------------------------------------------------------------

    def _forget(self) -> None:
        """After a reset the controller knows nothing of what was sent."""
        self._pending.clear()
        self._answered.clear()
        self._out_of_step = ""
        self._report_awaited = self._report_overdue = False
        self._refusing = self.reset_awaited = False

    def reset(self, timeout_s: float) -> Greeting | None:
        """Ask for a reset and wait for the greeting (s); None if none came. Only for an axis that stands still."""
        asked_s = self.clock.monotonic()
        self.realtime(self.dialect.reset_request())
        greeting = self.await_greeting(timeout_s)
        if greeting is not None:
            self.reset_took_s = self.clock.monotonic() - asked_s
        return greeting

    def resynchronise(self) -> tuple[SettingLine, ...]:
        """Prove that answers belong to lines: wait for quiet, then ask for the settings, which no other answer is like.

        An axis that stands still is needed. Never sends a bare line end, which would carry out whatever an earlier
        owner of the line left half written. Returns the settings printed. Raises ReplyTimeoutError, and as `listen`.
        """
        line = self.dialect.settings_query()
        for _ in range(2):
            self._pending.clear()
            self._answered.clear()
            self._await_quiet(QUIET_S, FLOOD_S)
            stray = self._framer.clear()
            if stray:
                self._stray(stray)
            self.realtime(line)
            settings = self._settings_after(self.clock.monotonic() + SYNC_ATTEMPT_S)
            if settings:
                self._out_of_step = ""
                self._refusing = True  # what was answered meanwhile isn't known
                return settings
        self._lose_step("the settings were asked for twice and not printed")
        raise ReplyTimeoutError(self.port.url, self._out_of_step, shown(line), 2 * SYNC_ATTEMPT_S)

    def _settings_after(self, deadline_s: float) -> tuple[SettingLine, ...]:
        """Settings up to the answer that ends them; empty if there are none by the deadline, or a damaged one."""
        found: list[SettingLine] = []
        while (reply := self._next(deadline_s)) is not None:
            if isinstance(reply, SettingLine) and len(found) < MOST_PAYLOAD:
                found.append(reply)
            elif found and isinstance(reply, Accepted):
                return tuple(found)
            elif isinstance(reply, Rejected | Unknown | SettingLine):
                self._keep(reply)
                return ()
            else:
                self._raise_or_keep(reply)
        return ()
