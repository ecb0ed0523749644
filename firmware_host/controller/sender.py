"""The only owner of a port: what all ways of sending lines have in common.

Whole lines in, parsed and traced; what fits nothing is kept and reported; a reset or an alarm is raised at once.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from firmware_host.acts import Act, FindControllers, Unlock
from firmware_host.clock import Clock
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.port.framing import LineFramer
from firmware_host.controller.port.hearing import is_noise
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import Trace, TraceKind
from firmware_host.controller.registry import spoken_instead
from firmware_host.controller.reply import (
    Accepted,
    AlarmReport,
    Busy,
    Greeting,
    Message,
    Rejected,
    Repeated,
    Reply,
    StatusReport,
    Unknown,
    Waiting,
)
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    ControllerResetError,
    DialectError,
    ReplyTimeoutError,
    UnexpectedReplyError,
)

QUIET_S = 0.1
"""The line counts as quiet after this time without a byte (s); a report takes 4 ms, an answer 3 ms."""
FLOOD_S = 5.0
"""A controller that still sends without a pause so long after a deadline is not waited for any longer (s)."""
MOST_PAYLOAD = 2000
"""The most lines that may come before one answer; the longest list of settings has some hundred."""
LOOK_S = 0.05
"""How often a wait looks whether a stop was asked for (s)."""
GRACE_S = 0.1
"""So long the answer to a line is waited for in any case (s), for it nearly always comes: both stay in step then."""
_KEPT_MESSAGES = 200
_KEPT_STRAY_BYTES = 256
_SHOWN_BYTES = 40


@dataclass(frozen=True)
class Exchange:
    """A line, what came before its answer, the answer, and when (monotonic s)."""

    line: bytes
    payload: tuple[Reply, ...]
    answer: Accepted | Rejected
    sent_at_s: float
    answered_at_s: float
    certain: bool = True
    """False if it is only known that the line was received, not that it has been carried out."""


class Sender(ABC):
    """Owns a port while it lives. Not safe for use by two threads at once."""

    def __init__(
        self, port: Port, dialect: Dialect, clock: Clock, trace: Trace, check: Callable[[], None] = lambda: None
    ) -> None:
        self.port = port
        self.dialect = dialect
        self.clock = clock
        self.messages: deque[str] = deque(maxlen=_KEPT_MESSAGES)
        self.strays: deque[bytes] = deque(maxlen=_KEPT_MESSAGES)
        """Bytes that fitted no reply, newest last; all of them are in the trace."""
        self.position_lost: ControllerError | None = None
        """The reset or alarm since which the position isn't known; None while it is."""
        self._trace = trace
        self._framer = LineFramer()
        self._inbox: deque[bytes] = deque()
        self._last_line = b""
        self._out_of_step = ""
        self._check = check
        self._carried_through = 0
        self._late_since_s: float | None = None
        self._kept_away = (-math.inf, -math.inf)
        """The last deadline that went by while this process was not looking, and until when it looks for it."""

    @property
    def out_of_step(self) -> str:
        """Why answers can no longer be matched to lines; "" while they can."""
        return self._out_of_step

    @contextmanager
    def carrying_through(self) -> Iterator[None]:
        """Inside, no wait is broken off by a wish to stop: for what must come to its end, the stop itself above all."""
        self._carried_through += 1
        try:
            yield
        finally:
            self._carried_through -= 1

    # --- what each way of sending does in its own way --------------------------------------------------------------

    @abstractmethod
    def ask(self, line: bytes, *, timeout_s: float) -> Exchange:
        """Send one line when all before it are answered, and return its exchange.

        Raises LineRejectedError if it is refused, ReplyTimeoutError after `timeout_s` (s) without an answer,
        UnexpectedReplyError for a damaged one, ControllerResetError, ControllerFaultError, PortLostError.
        """

    @abstractmethod
    def request_status(self, timeout_s: float) -> StatusReport:
        """One fresh report: reports that arrived before asking are not used; a damaged one is asked for again.

        Raises ReplyTimeoutError after `timeout_s` (s), and as `listen`.
        """

    @property
    def unanswered(self) -> bool:
        """True if a line is without its answer, and nobody waits for it any more."""
        return self._unanswered_since_s is not None

    @property
    @abstractmethod
    def _unanswered_since_s(self) -> float | None:
        """When the oldest line without an answer was sent (monotonic s); None if all are answered."""

    @abstractmethod
    def resynchronise(self) -> object:
        """Prove that answers belong to lines again. Moves nothing."""

    @abstractmethod
    def _deliver(self, reply: Reply) -> None:
        """Give a reply to whoever waits for it; raise what the caller must know at once."""

    @abstractmethod
    def _forget(self) -> None:
        """After a reset the controller knows nothing of what was sent."""

    # --- sending ---------------------------------------------------------------------------------------------------

    def realtime(self, request: bytes) -> None:
        """Send bytes at once, whatever is still unanswered."""
        self.port.write(request)  # first of all: a stop must not wait for the trace
        self._trace.record(TraceKind.SENT, request)

    # --- receiving -------------------------------------------------------------------------------------------------

    def listen(self, duration_s: float) -> None:
        """Take in what comes for `duration_s` (s). Raises for a reset, an alarm, or bytes that fit nothing awaited."""
        deadline_s = self.clock.monotonic() + duration_s
        while (reply := self._next(deadline_s)) is not None:
            self._deliver(reply)

    def await_greeting(self, timeout_s: float) -> Greeting | None:
        """The greeting, if one comes within `timeout_s` (s); whatever was sent before it is forgotten with it.

        Anything else that arrives first is kept as a stray or a message and does not raise; an alarm still marks the
        position as lost.
        """
        deadline_s = self.clock.monotonic() + timeout_s
        while (reply := self._next(deadline_s)) is not None:
            if isinstance(reply, Greeting):
                self._forget()
                return reply
            if isinstance(reply, AlarmReport):
                self._lose_position(reply)
            self._keep(reply)
        return None

    def _next(self, deadline_s: float) -> Reply | None:
        """The next whole line, parsed; None at the deadline (monotonic s). Raises what `check` raises.

        A deadline that this process, and not the controller, has let go by counts from when it looks again.
        """
        self._look()
        while not self._inbox:
            remaining_s = self._left_s(deadline_s)
            data = self.port.read(min(max(remaining_s, 0.0), LOOK_S))
            self._look()
            self._inbox.extend(self._framer.feed(data))
            if not self._inbox and remaining_s <= 0:
                self._late_since_s = None
                return None
        self._refuse_flood(deadline_s)
        line = self._inbox.popleft()
        reply = self.dialect.parse(line)
        self._last_line = line
        self._trace.record(TraceKind.RECEIVED, line)
        return reply

    def _left_s(self, deadline_s: float) -> float:
        """How long still to wait for a deadline (monotonic s): after a pause of this process, `GRACE_S` once (s).

        That is of the machine's own time: a simulated board in this process was kept away as well.
        """
        now_s = self.clock.monotonic()
        if now_s <= deadline_s + LOOK_S:
            return deadline_s - now_s
        if self._kept_away[0] != deadline_s:
            self._kept_away = (deadline_s, now_s + self.clock.own_seconds(GRACE_S))
        return self._kept_away[1] - now_s

    def _refuse_flood(self, deadline_s: float) -> None:
        """Raise `UnexpectedReplyError` for lines that come on and on after a deadline (monotonic s)."""
        now_s = self.clock.monotonic()
        if now_s <= deadline_s:
            self._late_since_s = None
        elif self._late_since_s is None:
            self._late_since_s = now_s
        elif now_s > self._late_since_s + FLOOD_S:
            detail = f"it kept sending without a pause for {FLOOD_S:g} s after the deadline"
            raise UnexpectedReplyError(self.port.url, detail)

    def _look(self) -> None:
        """Raise what `check` raises, unless the answer to a line may be on its way."""
        sent_s = self._unanswered_since_s
        if not self._carried_through and (sent_s is None or self.clock.monotonic() - sent_s >= GRACE_S):
            self._check()

    def _await_quiet(self, quiet_s: float, longest_s: float) -> None:
        """Take in what comes until nothing has come for `quiet_s`, at most `longest_s` (s). Raises as `listen`."""
        end_s = self.clock.monotonic() + longest_s
        while (now_s := self.clock.monotonic()) < end_s:
            reply = self._next(min(now_s + quiet_s, end_s))
            if reply is None:
                return
            self._raise_or_keep(reply)

    def _lose_position_by_reset(self) -> None:
        """Take note of a greeting that nobody asked for, and raise."""
        self._forget()
        self.position_lost = ControllerResetError("it was reset: its position is lost. Home it or set zero anew")
        raise self.position_lost

    def _lose_position(self, alarm: AlarmReport) -> ControllerError:
        """Take note of an alarm, and return the error that tells it."""
        detail = f"alarm: {alarm.meaning}. {self.dialect.alarm_remedy}"
        self.position_lost = ControllerFaultError(detail, alarm.code, acts=(Unlock(self.port.url),))
        return self.position_lost

    def nothing_answers(self, silent: Act | None = None, note: str = "") -> DialectError:
        """The error for a port where nothing answers in the dialect: by what was heard, and what is spoken there.

        `silent`: what else can be done, and a `note` on it, where nothing was heard at all, or messages of the
        dialect alone, as of a board that waits for a reset.
        """
        said = self.messages[-1] if self.messages else ""
        heard = [*self.strays, *(message.encode() for message in self.messages), self._framer.clear()]
        other = spoken_instead(self.port, self.clock, self.dialect, heard, self.realtime)
        came = b"".join(heard)
        if other:
            why = f', but {other} is spoken there. Set link.dialect = "{other}" in the machine file'
        elif is_noise(came):
            why = ": what comes is no text, as at another line speed. Name the board's own with --baud, or as link.baud"
        elif said:
            why = f": it says {said!r} and answers nothing"
        elif came:
            why = f": {came[:_SHOWN_BYTES]!r} came. Check whether this is the controller's port"
        else:
            why = ": it is silent. Check that it is on, its cable, its port and its line speed (link.baud)"
        detail = f"nothing answers in dialect {self.dialect.name}{why}"
        error = DialectError(self.port.url, detail, acts=(FindControllers(self.port.url),))
        if silent is not None and (not came or (said and not other)):
            error.acts = (*error.acts, silent)
            error.add_note(note)
        return error

    def _keep(self, reply: Reply) -> None:
        if isinstance(reply, Message | Greeting):
            self.messages.append(reply.text)
        elif isinstance(reply, AlarmReport):
            self.messages.append(f"alarm: {reply.meaning}")
        elif isinstance(reply, Unknown):
            self._stray(reply.raw)
        elif not isinstance(reply, StatusReport | Busy | Repeated | Waiting):
            self._stray(self._last_line)

    def _take_in(self, payload: list[Reply], reply: Reply) -> None:
        """Keep what comes before an answer. UnexpectedReplyError if it is too much."""
        if len(payload) >= MOST_PAYLOAD:
            self._lose_step(f"more than {MOST_PAYLOAD} lines came before an answer")
            raise UnexpectedReplyError(self.port.url, self._out_of_step)
        payload.append(reply)

    def _stray(self, data: bytes) -> None:
        """Keep bytes that fitted nothing, and say so in the trace."""
        self.strays.append(data[:_KEPT_STRAY_BYTES])
        self._trace.record(TraceKind.UNMATCHED, data)

    def _lose_step(self, reason: str) -> None:
        """Answers can't be matched to lines any more; the first reason stands."""
        self._out_of_step = self._out_of_step or reason

    def _unanswered(self, line: bytes, waited_s: float) -> ReplyTimeoutError:
        """The error for a line that got no answer in time; answers can't be matched to lines any more."""
        text = shown(line)
        self._lose_step(f"no answer came to {text!r}")
        return ReplyTimeoutError(self.port.url, "whether it was carried out is unknown", text, waited_s)

    def _raise_or_keep(self, reply: Reply) -> None:
        """Raise for a reset or an alarm; keep everything else as a message or a stray."""
        if isinstance(reply, Greeting | AlarmReport):
            self._deliver(reply)
        self._keep(reply)


def shown(line: bytes) -> str:
    """A line as it is named in messages."""
    return line.decode("ascii", "backslashreplace").rstrip("\n")
