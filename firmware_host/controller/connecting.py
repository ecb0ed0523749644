"""The way in: an open port becomes a controller of which all is known, and nothing has moved."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from firmware_host.clock import Clock
from firmware_host.controller.axis import Connection
from firmware_host.controller.controller import Controller
from firmware_host.controller.deadlines import GREETING_S
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.mechanisms import controller_for
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import Trace
from firmware_host.controller.stored_settings import StatedSettings


def connect(
    port: Port,
    dialect: Dialect,
    clock: Clock,
    trace: Trace,
    *,
    axis: str,
    steps_per_unit_known: Fraction | None = None,
    stated: StatedSettings | None = None,
    greeting_timeout_s: float = GREETING_S,
    drop_held_motion: bool = False,
    check: Callable[[], None] = lambda: None,
) -> Controller:
    """Learn all there is to know without moving anything; the port is closed again if that fails.

    Waits for the greeting (or learns that there is none), asks for the state, the buffer and the settings. Sends
    no bare line end, and no reset but one: with `drop_held_motion`, an axis found held and standing still is
    reset, which drops the held motion and keeps the position. `steps_per_unit_known`: the exact value, if it was
    written with at most three decimals. `stated`: what the machine's file states, taken where the controller
    doesn't tell; `settings.unreadable` says where. `check`: what every wait looks at, now and later; see `Connection`.

    Raises DialectError if nothing answers in `dialect`, StandstillError if the axis moves, ControllerError if there
    is no such axis, SettingsMismatchError if the settings contradict `steps_per_unit_known`.
    """
    connection = Connection(port, clock, trace, steps_per_unit_known, stated or StatedSettings(), check)
    try:
        controller = controller_for(dialect, connection, axis)
        controller.open(greeting_timeout_s, drop_held_motion=drop_held_motion)
    except BaseException:
        port.close()
        raise
    return controller
