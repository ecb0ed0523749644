"""Whether the controller makes its first moves as slowly as they were planned: looked at before anything is marked.

A move that is clearly quicker has another acceleration or rate than the one that was compared, and every verdict on
torque, grip and ringing is about another move. Times are measured from before the line was sent to an answer that is
given at a standstill only, so they are never too short; a late answer lengthens them, and a right board is never
stopped.
"""

from __future__ import annotations

import math

from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.controller.learned import Position
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.sender import LOOK_S
from firmware_host.controller.standstill import HALF_STEP
from firmware_host.errors import ControllerError
from firmware_host.station.axis_mover import OnPoll, SentMove

_MOVES = 3
"""So many moves are looked at."""
_GIVEN_UP = 10
"""After so many that tell nothing it is said that none does."""
_QUICKER = 0.9
"""A board's own arithmetic may make a move so much quicker than planned: a fifth more acceleration, or a tenth more
rate (measured boards: a thousandth of either)."""
_ASKED, _CLEARLY = 0.5, 0.85
"""Parts of the least time of a move: when it is asked for, and within which it must not have been answered."""
_ANSWERS = 5
"""So many usual answers must fit between the two: else a late one could hide a quick move, and nothing is told."""
_LEAST_S = 0.02
_LONGEST_ASKED_S = 2.0
"""A board that answers only at the end of a move hears no stop meanwhile: a longer one is not asked about (s)."""
_POLL_S = 0.004


def least_time(move: SentMove) -> float:
    """The least that a move may take (s, >= 0) with the acceleration and the rate planned with.

    From the speed at which it begins at once, without the time of its first and of its last step: a ramp is made of
    whole steps, and a board may make the first one at once and the last one early.
    """
    steps, rate, per_s2 = move.steps, move.step_rate, move.acceleration
    start = min(move.start_rate, rate)
    ramps = (rate**2 - start**2) / per_s2
    if steps <= ramps:
        whole_s = 2 * (math.sqrt(start**2 + per_s2 * steps) - start) / per_s2
    else:
        whole_s = 2 * (rate - start) / per_s2 + (steps - ramps) / rate
    one_step_s = (math.sqrt(start**2 + 2 * per_s2) - start) / per_s2
    return _QUICKER * max(whole_s - 2 * one_step_s, 0.0)


class MoveTimes:
    """Looks at the first moves of a run; `require_as_planned` raises for one that was clearly quicker than planned."""

    def __init__(self, controller: Controller, clock: Clock) -> None:
        self._controller = controller
        self._clock = clock
        self._looked_at = self._told_nothing = 0
        self._said = False
        self._quick: tuple[SentMove, float] | None = None

    def look(self, move: SentMove, on_poll: OnPoll) -> float | None:
        """Look at a move that has just been sent. It may still be under way afterwards.

        Returns when the board had answered that it has ended (monotonic s), None where it wasn't asked.
        """
        if self._looked_at >= _MOVES:
            return None
        least_s = least_time(move)
        answers = self._controller.syncs
        follows = self._controller.learned.position.value is Position.FOLLOWS_MOTOR
        room_s = (_CLEARLY - _ASKED) * least_s
        tells = room_s >= max(_ANSWERS * self._controller.answer_time.usual_s, _LEAST_S)
        if not tells or not (follows or answers) or (answers and move.planned_s > _LONGEST_ASKED_S):
            self._told_nothing += 1
            return None
        self._looked_at += 1
        stood_s = (self._answered if answers else self._seen)(move, least_s, on_poll)
        if stood_s is not None and stood_s - move.sent_s < _CLEARLY * least_s:
            self._quick = (move, stood_s - move.sent_s)
        return stood_s if answers else None

    def take_note(self) -> str:
        """What the person at the machine should know, once: that the moves tell nothing. Empty if there is nothing."""
        if self._said or self._looked_at or self._told_nothing < _GIVEN_UP:
            return ""
        self._said = True
        return "the moves are too short, or too long, to tell whether the controller makes them as slowly as planned"

    def require_as_planned(self) -> None:
        """Raise `ControllerError` for a move that was clearly quicker than planned. Nothing may be marked then."""
        if self._quick is None:
            return
        move, took_s = self._quick
        names, learned = self._controller.settings.names, self._controller.learned
        key = learned.acceleration_key.value or names.acceleration
        settings = ", then at ".join(filter(None, (f"{key} (acceleration)" if key else "", names.rate)))
        raise ControllerError(
            f"made a move of {move.steps} steps in {took_s:.3f} s at most, planned are {move.planned_s:.3f} s: it has "
            "another acceleration or rate than the one that was compared, so torque, grip and ringing are not as "
            f"planned. Look at {settings or 'its settings'}, with the controller's own tools"
        )

    def _answered(self, move: SentMove, least_s: float, on_poll: OnPoll) -> float:
        """When it had ended at the latest (monotonic s), by the answer that is given at a standstill only."""
        asked_s = move.sent_s + _ASKED * least_s
        while (left_s := asked_s - self._clock.monotonic()) > 0:
            on_poll(self._report())
            self._controller.hear(min(left_s, LOOK_S))
        self._controller.sync(self._clock.monotonic() + move.deadline_s)
        return self._clock.monotonic()

    def _seen(self, move: SentMove, least_s: float, on_poll: OnPoll) -> float | None:
        """The same by two reports in a row that show it ready at the target; None if it was not seen there in time.

        Before them the reports must have shown it at two places on its way: else they may tell of the planned place.
        """
        seen, beside = 0, set[int]()
        while self._clock.monotonic() < move.sent_s + _CLEARLY * least_s:
            report = self._report()
            on_poll(report)
            off = self._controller.position_steps(report) - move.target_steps
            if abs(off) > HALF_STEP:
                beside.add(round(off))
            seen = seen + 1 if abs(off) <= HALF_STEP and len(beside) > 1 and report.state is AxisState.READY else 0
            if seen > 1:
                return self._clock.monotonic()
            self._controller.hear(_POLL_S)
        return None

    def _report(self) -> StatusReport:
        """One report; how long it took is learned from."""
        asked_s = self._clock.monotonic()
        report = self._controller.status()
        self._controller.answer_time.note(self._clock.monotonic() - asked_s)
        return report
