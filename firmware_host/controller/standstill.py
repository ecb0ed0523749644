"""At rest: how it is known. One sign is not enough, so all of them are asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.session import POLL_S, STATUS_LEAST_S, STATUS_S, AxisSession, StandstillProof
from firmware_host.errors import MotorReleasedError, PositionError, StandstillError

MOVING_POLL_S = 0.05
"""Pause between reports while the move can't have ended yet (s)."""
HALF_STEP = 0.5

OnPoll = Callable[[StatusReport], None]


@dataclass(frozen=True)
class StandstillTarget:
    """Where the axis has to come to rest (steps from machine zero) and when at the earliest (monotonic s)."""

    steps: int
    steps_per_unit: Fraction
    earliest_s: float


def wait_for_standstill(
    session: AxisSession, target: StandstillTarget, deadline_s: float, on_poll: OnPoll | None
) -> StandstillProof:
    """Wait until all signs of rest hold, then keep and return the proof.

    They are: the planned duration has gone by; then the ready state in two reports in a row (or, for a dialect whose
    state word doesn't tell, the sync line and one line after it answered, asked for once the position stands); and in
    both reports the same position, which is the target to half a step. Reports from before the planned end are not
    believed.

    Raises PositionError when it rests at another step, ControllerFaultError when locked, StandstillError for any other
    state that isn't moving, at `deadline_s` (monotonic s), or when reports can't tell half a step; link errors as they
    come.
    """
    session.rest = None
    synced = not session.syncs
    last: StatusReport | None = None
    while True:
        asked_s = session.clock.monotonic()
        if asked_s >= deadline_s:
            raise StandstillError(f"not at rest at step {target.steps} by its deadline")
        report = session.poll(min(STATUS_S, max(deadline_s - asked_s, STATUS_LEAST_S)))
        if on_poll is not None:
            on_poll(report)
        _check_going(session, report)
        _check_resolution(session, report, target.steps_per_unit)
        early = asked_s < target.earliest_s
        stands = last is not None and session.same_place(last, report)
        if early or (synced and not session.says_standstill(report)):
            last = None
        elif last is None or not stands:
            last = report
        elif synced:
            return _conclude(session, target, (last, report))
        else:
            session.sync(deadline_s)
            synced, last = True, None
        pause_s = min(MOVING_POLL_S, max(target.earliest_s - asked_s, POLL_S)) if early else POLL_S
        session.sender.listen(pause_s)


def watch(session: AxisSession) -> StatusReport:
    """One report while the gate is open. Raises at the least contradiction to the proof of rest, which is then void."""
    proof, session.rest = session.rest, None
    if proof is None:
        raise StandstillError("there is no proof that it is at rest")
    delay_ms = session.settings.release_delay_ms
    if delay_ms is not None:
        key = session.settings.names.release_delay
        raise MotorReleasedError(f"the motor is released {delay_ms} ms after a move (setting {key}): the part can turn")
    report = session.poll()
    if report.state is not AxisState.READY:
        raise session.wrong_state(report.state)
    _check_step(session, proof.target_steps, proof.steps_per_unit, report)
    session.rest = proof
    return report


def _check_going(session: AxisSession, report: StatusReport) -> None:
    """Raise for a state from which the axis won't come to rest by itself."""
    waiting = {AxisState.READY, AxisState.MOVING, AxisState.HOLDING, AxisState.SLOWING, AxisState.DOOR}
    if report.state not in waiting:
        raise session.wrong_state(report.state)


def _check_resolution(session: AxisSession, report: StatusReport, steps_per_unit: Fraction) -> None:
    off = session.resolution_steps(report, steps_per_unit)
    if off >= HALF_STEP:
        per_unit = float(steps_per_unit)
        raise StandstillError(
            f"its reports tell a position only to {off:.3g} steps at {per_unit:.6g} steps per unit, limit below "
            f"{HALF_STEP}: choose fewer steps per unit (a larger unit), or reports of the machine position"
        )


def _conclude(session: AxisSession, target: StandstillTarget, reports: tuple[StatusReport, ...]) -> StandstillProof:
    steps = _check_step(session, target.steps, target.steps_per_unit, reports[-1])
    proof = StandstillProof(
        at_s=session.clock.monotonic(),
        reported_position=session.position(reports[-1]),
        reported_steps=steps,
        target_steps=target.steps,
        steps_per_unit=target.steps_per_unit,
        reports=reports,
    )
    session.rest = proof
    return proof


def _check_step(session: AxisSession, target_steps: int, steps_per_unit: Fraction, report: StatusReport) -> float:
    """The reported steps, if they are the target to half a step; else PositionError."""
    steps = session.steps(report, steps_per_unit)
    if abs(steps - target_steps) > HALF_STEP:
        raise PositionError("it rests at another step", planned_steps=target_steps, reported_steps=steps)
    return steps
