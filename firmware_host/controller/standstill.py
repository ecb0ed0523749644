"""Standstill: how it is proved. One sign is not enough, so all signs are required."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from firmware_host.controller.axis import Axis, StandstillProof
from firmware_host.controller.deadlines import ANSWER_LEAST_S, POLL_S, STATUS_LEAST_S, STATUS_S
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.errors import MotorReleasedError, PositionError, StandstillError

MOVING_POLL_S = 0.05
"""Pause between reports while the end of the move is far off (s)."""
NEAR_ANSWERS = 4
"""So many usual answers before the planned end, questions begin to follow one another without a pause."""
QUICK_S = 0.5
"""So long after the planned end they do (s); an axis that does not stand by then is late for some other reason."""
ELSEWHERE_S = 0.1
"""So long all reports have to agree on another step before the axis counts as standing there (s): some boards say idle
before the last steps, which come slowly."""
CLOSED_STATUS_S = 3.0
"""A report on the way may take so long (s), for the gate is closed: noise on the line may spoil several answers."""
HALF_STEP = 0.5

_ARRIVING = frozenset({AxisState.MOVING, AxisState.READY})
_GOING = _ARRIVING | {AxisState.HOLDING, AxisState.SLOWING, AxisState.DOOR}

OnPoll = Callable[[StatusReport], None]


@dataclass(frozen=True)
class StandstillTarget:
    """Where the axis has to stand still (steps from machine zero) and when at the earliest (monotonic s).

    `synced_s`: when a sync line sent after the move, and the line after it, were answered, if that was asked already.
    """

    steps: int
    steps_per_unit: Fraction
    earliest_s: float
    synced_s: float | None = None


def wait_for_standstill(
    axis: Axis, target: StandstillTarget, deadline_s: float, on_poll: OnPoll | None
) -> StandstillProof:
    """Wait until all signs of a standstill hold, then keep and return the proof.

    They are: the planned duration has gone by; then the ready state in two reports in a row (or, for a dialect whose
    state word doesn't tell, the sync line and one line after it answered, asked for once the position stands); and in
    both reports the same position, which is the target to half a step. Reports from before the planned end are not
    believed. The proof also says since when it stands: see `_Signs`.

    Raises PositionError when it stands at another step, ControllerFaultError when locked, StandstillError for any other
    state that isn't moving, at `deadline_s` (monotonic s), or when reports can't tell half a step; link errors as they
    come.
    """
    axis.standstill = None
    signs = _Signs(axis, target)
    ask_from_s = target.earliest_s - (axis.sync_ahead_s if axis.syncs else 0.0)
    if target.synced_s is not None and target.synced_s >= target.earliest_s:
        signs.synced(target.synced_s)
    kept_away = False
    while True:
        asked_s = axis.clock.monotonic()
        if asked_s > deadline_s + QUICK_S and not kept_away:  # this process let it go by, not the axis
            kept_away, deadline_s = True, asked_s + QUICK_S
        if asked_s >= deadline_s:
            raise StandstillError(f"did not stand still at step {target.steps} by its deadline")
        if signs.sync_due and asked_s >= ask_from_s:
            axis.sync(deadline_s)
            if axis.clock.monotonic() >= target.earliest_s:
                signs.synced(axis.clock.monotonic())
            continue
        report = _asked(axis, min(CLOSED_STATUS_S, max(deadline_s - asked_s, STATUS_LEAST_S)))
        heard_s = axis.clock.monotonic()
        if on_poll is not None:
            on_poll(report)
        _check_going(axis, report)
        _check_resolution(axis, report, target.steps_per_unit)
        proof = signs.take(report, asked_s, heard_s)
        if proof is not None:
            axis.standstill = proof
            return proof
        pause_s = _next_question_s(axis, ask_from_s, asked_s) - axis.clock.monotonic()
        if pause_s > 0:
            axis.sender.listen(pause_s)


def _asked(axis: Axis, timeout_s: float) -> StatusReport:
    """One report; how long it took is learned from."""
    asked_s = axis.clock.monotonic()
    report = axis.status(timeout_s)
    axis.answer_time.note(axis.clock.monotonic() - asked_s)
    return report


def _next_question_s(axis: Axis, earliest_s: float, asked_s: float) -> float:
    """When to ask next (monotonic s): seldom on the way, as soon as it has answered near the planned end.

    One question falls on `earliest_s` itself, the planned end or a little before it where sync lines go ahead: none is
    under way then, whose answer would have to be awaited first.
    """
    now_s, answer_s = axis.clock.monotonic(), axis.answer_time.usual_s
    at_once_s = asked_s + ANSWER_LEAST_S
    if now_s >= earliest_s:
        return at_once_s if now_s < earliest_s + QUICK_S else now_s + POLL_S
    near_s = earliest_s - NEAR_ANSWERS * answer_s
    next_s = min(now_s + MOVING_POLL_S, near_s) if now_s < near_s else at_once_s
    return earliest_s if max(next_s, now_s) + answer_s > earliest_s else next_s


class _Signs:
    """The signs of the end of one move as they come, and since when the first has held: there the settle time starts.

    Only a sign that can't come before the last step may be the first. In reports asked for after the planned end it is

    - the target reached, by reports that have shown the axis at two places on its way: then they don't tell the planned
      place, which is the target from the beginning (`Axis.reports_travel`);
    - else the ready word, where it stands at the target;
    - where the state word doesn't tell, the answer to the line after the sync line.

    Another place, another step or a moving word after it takes it back; from then on the way counts for nothing.
    """

    def __init__(self, axis: Axis, target: StandstillTarget) -> None:
        self.since_s: float | None = None
        self.sync_due = False
        self._axis = axis
        self._target = target
        self._synced = not axis.syncs
        self._last: StatusReport | None = None
        self._was_ready = False
        self._agree_since_s = 0.0
        self._beside: float | None = None
        self._travelled = False
        self._believes_travel = axis.reports_travel

    def synced(self, at_s: float) -> None:
        """The sync line and the one after it are answered (monotonic s)."""
        self.sync_due, self._synced, self._last = False, True, None
        self.since_s = at_s if self.since_s is None else self.since_s

    def take(self, report: StatusReport, asked_s: float, heard_s: float) -> StandstillProof | None:
        """Take one report, asked for and heard when it was (monotonic s); the proof, once all signs hold."""
        off = self._axis.position_steps(report, self._target.steps_per_unit) - self._target.steps
        there = abs(off) <= HALF_STEP
        self._note_travel(off)
        if asked_s < self._target.earliest_s:
            self.sync_due = there and not self._synced  # at the planned end: what it tells is the planned place
            return None
        ready = self._synced and self._axis.says_standstill(report)
        last, self._last = self._last, report if ready or not self._synced else None
        agrees = last is not None and self._axis.same_place(last, report)
        paused = report.state not in _ARRIVING
        moved = not ready and (self._was_ready or (self._synced and self._axis.syncs))
        if not there or paused or moved or (self._was_ready and not agrees):
            self._take_back(moved=moved)
        arrived = self._believes_travel and self._travelled and report.state in _ARRIVING
        if there and self.since_s is None and (ready or arrived):
            self.since_s = heard_s
        self._was_ready = ready
        self._agree_since_s = self._agree_since_s if agrees else heard_s
        if not self._synced:
            self.sync_due = there or agrees
            return None
        if not ready or last is None or not agrees or not (there or heard_s - self._agree_since_s >= ELSEWHERE_S):
            return None
        return self._conclude(heard_s, last, report)

    def _note_travel(self, off: float) -> None:
        """Steps from the target: two places beside it show that reports follow the motor."""
        if abs(off) > HALF_STEP:
            self._travelled = self._travelled or (self._beside is not None and abs(off - self._beside) > HALF_STEP)
            self._beside = off

    def _take_back(self, *, moved: bool) -> None:
        """What was taken for the first sign was none; after motion a sync line has to be answered anew."""
        if self.since_s is not None:
            self.since_s, self._believes_travel = None, False
        if moved and self._axis.syncs:
            self._synced = False

    def _conclude(self, heard_s: float, last: StatusReport, report: StatusReport) -> StandstillProof:
        target = self._target
        steps = _check_step(self._axis, target.steps, target.steps_per_unit, report)
        return StandstillProof(
            since_s=heard_s if self.since_s is None else self.since_s,
            at_s=heard_s,
            reported_steps=steps,
            target_steps=target.steps,
            steps_per_unit=target.steps_per_unit,
            reports=(last, report),
        )


def watch(axis: Axis, fresh_s: float = 0.0) -> StatusReport:
    """One report while the gate is open. Raises if anything contradicts the standstill proof, which is then void.

    The last report of a proof that is no older than `fresh_s` (s) counts as well.
    """
    proof, axis.standstill = axis.standstill, None
    if proof is None:
        raise StandstillError("there is no proof that it stands still")
    delay_ms = axis.settings.release_delay_ms
    if delay_ms is not None:
        key = axis.settings.names.release_delay
        raise MotorReleasedError(f"the motor is released {delay_ms} ms after a move (setting {key}): the part can turn")
    if axis.clock.monotonic() - proof.at_s < fresh_s:
        axis.standstill = proof
        return proof.reports[-1]
    report = _asked(axis, STATUS_S)
    if report.state is not AxisState.READY:
        raise axis.wrong_state(report.state)
    _check_step(axis, proof.target_steps, proof.steps_per_unit, report)
    axis.standstill = proof
    return report


def hear(axis: Axis, duration_s: float) -> None:
    """Wait for `duration_s` (s) while the gate is open. What is said without being asked raises at once."""
    proof, axis.standstill = axis.standstill, None
    axis.sender.listen(duration_s)
    axis.standstill = proof


def _check_going(axis: Axis, report: StatusReport) -> None:
    """Raise for a state from which the axis won't come to a standstill by itself."""
    if report.state not in _GOING:
        raise axis.wrong_state(report.state)


def _check_resolution(axis: Axis, report: StatusReport, steps_per_unit: Fraction) -> None:
    off = axis.resolution_steps(report, steps_per_unit)
    if off >= HALF_STEP:
        per_unit = float(steps_per_unit)
        raise StandstillError(
            f"its reports give its position only to {off:.3g} steps at {per_unit:.6g} steps per unit, limit below "
            f"{HALF_STEP}: choose fewer steps per unit (a larger unit), or reports of the machine position"
        )


def _check_step(axis: Axis, target_steps: int, steps_per_unit: Fraction, report: StatusReport) -> float:
    """The reported steps, if they are the target to half a step; else PositionError."""
    steps = axis.position_steps(report, steps_per_unit)
    if abs(steps - target_steps) > HALF_STEP:
        raise PositionError("it stands at another step", planned_steps=target_steps, reported_steps=steps)
    return steps
