"""Stop of a controller with a state word: hold, standstill, then drop the rest. It raises nothing of its own."""

from __future__ import annotations

from contextlib import suppress

from firmware_host.controller.controller import StopReport
from firmware_host.controller.deadlines import GREETING_S, POLL_S, STATUS_LEAST_S, STATUS_S
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.status_query.asking import StateWordAsking
from firmware_host.errors import ControllerFaultError, FirmwareHostError, PortLostError

_DROPPING = frozenset({AxisState.READY, AxisState.HOLDING, AxisState.DOOR, AxisState.CHECKING})


def stop(controller: StateWordAsking, timeout_s: float) -> StopReport:
    """Hold, wait at most `timeout_s` (s) for standstill, and only then reset, which drops the rest of the motion.

    The position is kept, except while homing, when there is none to keep: then it is reset at once. Raises nothing of
    the link's or the controller's; what went wrong is told in `detail`.
    """
    controller.standstill = None
    controller.prepared = False
    if controller.homing:
        return _end_homing(controller)
    _hear_again(controller)
    status, detail = _await_standstill(controller, controller.clock.monotonic() + timeout_s)
    if status is None:
        return StopReport(False, detail)
    if status.state not in _DROPPING:
        return StopReport(True, f"stands still: {status.state.value}", status)
    try:
        controller.greeted(controller.sender.reset(GREETING_S))
        controller.require_position()
        return StopReport(True, "stopped; what was left of the motion is dropped", controller.status())
    except FirmwareHostError as error:
        return StopReport(True, f"stands still, but could not be finished: {error}", status)


def _await_standstill(controller: StateWordAsking, deadline_s: float) -> tuple[StatusReport | None, str]:
    """The second of two reports that agree on standstill, or None and what went wrong."""
    last: StatusReport | None = None
    detail = "held, but did not come to a standstill in time"
    while controller.clock.monotonic() < deadline_s:
        try:
            report = controller.status(min(STATUS_S, max(deadline_s - controller.clock.monotonic(), STATUS_LEAST_S)))
            controller.sender.listen(POLL_S)
        except PortLostError as error:
            return None, str(error)
        except FirmwareHostError as error:  # an alarm, a reset, noise: asking on shows what it does now
            detail, last = str(error), None
            _hear_again(controller)
            continue
        if not report.state.stands_still:
            last = None
        elif last is not None and last.state is report.state and last.machine == report.machine:
            return report, ""
        else:
            last = report
    return None, detail


def _hear_again(controller: StateWordAsking) -> None:
    """Reset a board that has stopped by itself and hears nothing else; what goes wrong then shows when it is asked."""
    with suppress(FirmwareHostError):
        controller.hear_again()


def _end_homing(controller: StateWordAsking) -> StopReport:
    controller.sender.position_lost = ControllerFaultError("stopped while homing: home it again")
    try:
        controller.greeted(controller.sender.reset(GREETING_S))
        controller.homing = False
        status = controller.status()
    except FirmwareHostError as error:
        return StopReport(False, str(error))
    return StopReport(status.state.stands_still, "homing was ended by a reset; the position is lost", status)
