"""The buttons: which can be pressed now, why not, and what pressing one does. The server asks here first."""

from __future__ import annotations

from typing import Final, Literal, get_args

from firmware_host.page.desk import Desk
from firmware_host.station.state.message import StateMessage

Button = Literal["hold", "carry-on", "stop", "answer"]
BUTTONS: Final = get_args(Button)
"""Hold after this pass; carry on; stop now; answer what is asked ("done" at an open gate)."""


def why_not(button: Button, desk: Desk, state: StateMessage | None) -> str:
    """Why a button cannot be pressed now; "" if it can. Stop can be pressed as long as the run is not over."""
    if desk.over is not None:
        return "the run is over"
    if button == "stop":
        return "it is being stopped" if desk.control.stop.reason is not None else ""
    if button == "hold":
        return "it will hold, or holds already" if desk.control.holds else ""
    if desk.stale:
        return "the run does not answer: nobody knows what the axis does"
    if button == "carry-on":
        return "" if desk.control.holds else "it does not hold"
    return _why_no_answer(desk, state)


def press(button: Button, desk: Desk, *, number: int = 0, line: str = "") -> str:
    """Press a button. Returns why that is refused; "" if it is done.

    `number`: which hold is carried on from, or which question is answered, with `line`: a press that was meant for
    another one, by a page that is behind or pressed twice, does nothing.
    """
    if refused := why_not(button, desk, desk.newest()):
        return refused
    control = desk.control
    if button == "stop":
        control.stop_now("at the station page")
    elif button == "hold":
        control.hold()
    elif button == "carry-on":
        if number != control.hold_number:
            return "that hold is over"
        control.carry_on()
    else:
        return desk.answer(number, line)
    return ""


def _why_no_answer(desk: Desk, state: StateMessage | None) -> str:
    if desk.asked is not None:
        return "it is answered already" if desk.answered else ""
    if state is None or state.phase == "preparing":
        return "it is being made ready"
    if state.phase == "turning":
        return "the axis turns"
    return "the marking side says when it is done" if state.gate_open else "the gate is closed"
