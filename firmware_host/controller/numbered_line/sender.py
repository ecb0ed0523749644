"""Numbered lines in step with their answers: the position asked for, and the controller's count learned and kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from firmware_host.controller.numbered_line.exchanging import (
    BUSY_S,
    REPEAT_S,
    SETTLE_S,
    ExchangingSender,
    Patience,
    Pending,
    Until,
)
from firmware_host.controller.reply import (
    Accepted,
    Complaint,
    Identity,
    Reply,
    Resend,
    Skipped,
    StatusReport,
    StepCounts,
)
from firmware_host.controller.sender import FLOOD_S, QUIET_S, shown
from firmware_host.errors import DialectError, LineRejectedError, ReplyTimeoutError

UNFINISHED_S = 1.0
"""So long quiet is waited for at the beginning (s): some boards answer half a line left behind five times a second."""
COUNT_S = 8.0
"""Deadline for learning the controller's count (s): up to 2 s after opening, boards lose what is sent."""
_REPEAT_QUIET = 2.5
"""A question for the position is repeated after so many times the silence behind an answer."""
_IDENTITY_S = 2.0
_ATTEMPTS = 3


class NumberingSender(ExchangingSender):
    """For dialects with numbered lines. Not safe for use by two threads at once."""

    def request_status(self, timeout_s: float) -> StatusReport:
        deadline_s = self.clock.monotonic() + timeout_s
        while True:
            left_s = max(deadline_s - self.clock.monotonic(), 0.0)
            quick = self.quiet_s < SETTLE_S
            query = self.dialect.steps_query() if self.counts_apart else self.dialect.position_query()
            until = _has(StepCounts if self.counts_apart else StatusReport)
            exchange = self._ask_position(
                query,
                timeout_s=left_s,
                latest_s=deadline_s,
                repeat_s=_REPEAT_QUIET * self.quiet_s if quick else REPEAT_S,
                patience_s=self.quiet_s,
                until=until,
                brief=True,
            )
            report = self._report(exchange)
            if report is not None:
                return report
            self._await_quiet(self.quiet_s, FLOOD_S)  # a late report must not be taken for the answer to the next one
            if self.clock.monotonic() >= deadline_s:
                raise ReplyTimeoutError(self.port.url, "the state of the axis is unknown", "status", timeout_s)

    def _ask_position(self, query: bytes, **patience: Any) -> Sequence[Reply]:
        """What came back; nothing where the board didn't know the word: it knows it, so it was changed on the way."""
        try:
            return self.ask(query, **patience).payload
        except LineRejectedError:
            return ()

    def _report(self, payload: Sequence[Reply]) -> StatusReport | None:
        """The position with its steps; None if either is missing, where both are known to come."""
        reports = [reply for reply in payload if isinstance(reply, StatusReport)]
        counts = [reply.counts for reply in payload if isinstance(reply, StepCounts)]
        if not reports or (self.counts_apart and not counts):
            return None
        report = replace(reports[-1], counts=counts[-1]) if counts else reports[-1]
        if self._counts_steps and report.counts is None:
            return None  # its end was lost on the way
        self._counts_steps = report.counts is not None
        letters = report.letters, "".join(report.counts or ())
        if self._letters not in (None, letters):
            return None  # a letter was changed on the way: a board doesn't change its axes
        self._letters = letters if report.counts else None
        return report

    # --- in step and out of step -----------------------------------------------------------------------------------

    def _forget(self) -> None:
        self._introducing = True
        self._pending = None
        self._counting = False
        self._lose_step("it was reset: its line count is not known")

    def resynchronise(self) -> None:
        """Prove that answers belong to lines: wait for quiet, then ask something whose answer is like no other.

        Moves nothing. While the count is known it is kept, so that a reset shows (ControllerResetError). Raises
        DialectError if nothing answers, ReplyTimeoutError, and as `listen`.
        """
        self._pending = None
        self._await_quiet(SETTLE_S, FLOOD_S if self._counting else UNFINISHED_S)
        stray = self._framer.clear()
        if stray:
            self._stray(stray)
        if not self._counting:
            self._learn_count()
        for _ in range(_ATTEMPTS):
            now_s = self.clock.monotonic()
            self.number += 1
            pending = Pending(
                self.number, self.dialect.identity_query(), now_s, now_s + _IDENTITY_S, falls_back=self.number > 1
            )
            patience = Patience(_IDENTITY_S, now_s + _IDENTITY_S + BUSY_S, REPEAT_S, SETTLE_S)
            with self._listed(True):
                exchange = self._exchange(pending, patience, _has(Identity))
                self._await_quiet(SETTLE_S, FLOOD_S)
            if any(isinstance(reply, Identity) for reply in exchange.payload):
                self._out_of_step = ""
                return
        self._lose_step("it did not answer when asked what it is")
        raise ReplyTimeoutError(self.port.url, self._out_of_step, shown(self.dialect.identity_query()), _IDENTITY_S)

    def _learn_count(self) -> None:
        """Ask for the controller's count, set it to 0, and see that it is."""
        deadline_s = self.clock.monotonic() + COUNT_S
        while self.clock.monotonic() < deadline_s:
            wanted = self._probe_count()
            if wanted is None:
                continue
            if self.count_found is None:
                self.count_found = wanted - 1
            self.realtime(self.dialect.count_from(0))
            self._hear_count(SETTLE_S)
            if self._probe_count() == 1:
                self.number = 0
                self._counting = True
                return
        raise self.nothing_answers()

    def _probe_count(self) -> int | None:
        """The number of the line that it wants next; None if it doesn't say."""
        self.realtime(self.dialect.probe())
        return self._hear_count(REPEAT_S)

    def _hear_count(self, quiet_s: float) -> int | None:
        """The last number asked for until nothing has come for `quiet_s` (s)."""
        wanted: int | None = None
        end_s = self.clock.monotonic() + FLOOD_S
        while (now_s := self.clock.monotonic()) < end_s:
            reply = self._next(min(now_s + (quiet_s if wanted is None else QUIET_S), end_s))
            if reply is None:
                return wanted
            if isinstance(reply, Resend):
                wanted = reply.number
            elif isinstance(reply, StatusReport):
                raise DialectError(
                    self.port.url, "it accepts lines with a wrong number, so a damaged one could be carried out"
                )
            elif not isinstance(reply, Accepted | Complaint | Skipped):
                self._raise_or_keep(reply)
        return wanted


def _has(kind: type[Reply]) -> Until:
    return lambda payload: any(isinstance(reply, kind) for reply in payload)
