"""Standstill: how it is proved. One sign is not enough, so all signs are required."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from firmware_host.controller.axis import Axis, StandstillProof
from firmware_host.controller.deadlines import POLL_S, STATUS_LEAST_S, STATUS_S
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.errors import MotorReleasedError, PositionError, StandstillError

MOVING_POLL_S = 0.05
"""Pause between reports while the move can't have ended yet (s)."""
HALF_STEP = 0.5

OnPoll = Callable[[StatusReport], None]


@dataclass(frozen=True)
class StandstillTarget:
    """Where the axis has to stand still (steps from machine zero) and when at the earliest (monotonic s)."""

    steps: int
    steps_per_unit: Fraction
    earliest_s: float


def wait_for_standstill(
    axis: Axis, target: StandstillTarget, deadline_s: float, on_poll: OnPoll | None
) -> StandstillProof:
    """Wait until all signs of a standstill hold, then keep and return the proof.

    They are: the planned duration has gone by; then the ready state in two reports in a row (or, for a dialect whose
    state word doesn't tell, the sync line and one line after it answered, asked for once the position stands); and in
    both reports the same position, which is the target to half a step. Reports from before the planned end are not
    believed.

    Raises PositionError when it stands at another step, ControllerFaultError when locked, StandstillError for any other
    state that isn't moving, at `deadline_s` (monotonic s), or when reports can't tell half a step; link errors as they
    come.
    """
    axis.standstill = None
    synced = not axis.syncs
    last: StatusReport | None = None
    while True:
        asked_s = axis.clock.monotonic()
        if asked_s >= deadline_s:
            raise StandstillError(f"did not stand still at step {target.steps} by its deadline")
        report = axis.status(min(STATUS_S, max(deadline_s - asked_s, STATUS_LEAST_S)))
        if on_poll is not None:
            on_poll(report)
        _check_going(axis, report)
        _check_resolution(axis, report, target.steps_per_unit)
        early = asked_s < target.earliest_s
        stands = last is not None and axis.same_place(last, report)
        if early or (synced and not axis.says_standstill(report)):
            last = None
        elif last is None or not stands:
            last = report
        elif synced:
            return _conclude(axis, target, (last, report))
        else:
            axis.sync(deadline_s)
            synced, last = True, None
        pause_s = min(MOVING_POLL_S, max(target.earliest_s - asked_s, POLL_S)) if early else POLL_S
        axis.sender.listen(pause_s)


def watch(axis: Axis) -> StatusReport:
    """One report while the gate is open. Raises if anything contradicts the standstill proof, which is then void."""
    proof, axis.standstill = axis.standstill, None
    if proof is None:
        raise StandstillError("there is no proof that it stands still")
    delay_ms = axis.settings.release_delay_ms
    if delay_ms is not None:
        key = axis.settings.names.release_delay
        raise MotorReleasedError(f"the motor is released {delay_ms} ms after a move (setting {key}): the part can turn")
    report = axis.status()
    if report.state is not AxisState.READY:
        raise axis.wrong_state(report.state)
    _check_step(axis, proof.target_steps, proof.steps_per_unit, report)
    axis.standstill = proof
    return report


def _check_going(axis: Axis, report: StatusReport) -> None:
    """Raise for a state from which the axis won't come to a standstill by itself."""
    waiting = {AxisState.READY, AxisState.MOVING, AxisState.HOLDING, AxisState.SLOWING, AxisState.DOOR}
    if report.state not in waiting:
        raise axis.wrong_state(report.state)


def _check_resolution(axis: Axis, report: StatusReport, steps_per_unit: Fraction) -> None:
    off = axis.resolution_steps(report, steps_per_unit)
    if off >= HALF_STEP:
        per_unit = float(steps_per_unit)
        raise StandstillError(
            f"its reports give its position only to {off:.3g} steps at {per_unit:.6g} steps per unit, limit below "
            f"{HALF_STEP}: choose fewer steps per unit (a larger unit), or reports of the machine position"
        )


def _conclude(axis: Axis, target: StandstillTarget, reports: tuple[StatusReport, ...]) -> StandstillProof:
    steps = _check_step(axis, target.steps, target.steps_per_unit, reports[-1])
    proof = StandstillProof(
        at_s=axis.clock.monotonic(),
        reported_steps=steps,
        target_steps=target.steps,
        steps_per_unit=target.steps_per_unit,
        reports=reports,
    )
    axis.standstill = proof
    return proof


def _check_step(axis: Axis, target_steps: int, steps_per_unit: Fraction, report: StatusReport) -> float:
    """The reported steps, if they are the target to half a step; else PositionError."""
    steps = axis.position_steps(report, steps_per_unit)
    if abs(steps - target_steps) > HALF_STEP:
        raise PositionError("it stands at another step", planned_steps=target_steps, reported_steps=steps)
    return steps
