"""What the page shows now: every word of it, made from the run's state. The browser only shows it."""

from __future__ import annotations

import json
from typing import Any, Final

from firmware_host.page.buttons import BUTTONS, why_not
from firmware_host.page.desk import Desk
from firmware_host.page.surface import Surface
from firmware_host.station.state.message import StateMessage

STALE: Final = "STALE"
UNKNOWN: Final = "MAY BE MOVING"
_OUTCOMES: Final = {"done": "DONE", "stopped": "STOPPED", "failed": "FAILED"}


def view(desk: Desk) -> dict[str, Any]:
    """Everything that changes on the page."""
    state = desk.newest()
    asked = desk.asked
    surface = _surface(desk, state)
    return {
        "word": _word(desk, state),
        "doing": _doing(desk, state),
        "where": _where(state) if state is not None else "",
        "following": _following(state) if state is not None and desk.over is None else "",
        "done": state.done if state is not None else 0,
        "of": state.of if state is not None else 0,
        "left_s": state.left_s if state is not None and state.phase != "held" else None,
        "asked": None
        if asked is None
        else {
            "number": asked.number,
            "text": asked.question.text,
            "choices": [[choice.line, choice.does] for choice in asked.question.choices],
            "entry": asked.question.entry,
        },
        "hold": desk.control.hold_number,
        "why_not": {button: why_not(button, desk, state) for button in BUTTONS},
        "told": desk.told if not desk.stale else (),
        "surface": surface.number if surface is not None else 0,
        "cells": surface.letters() if surface is not None else "",
        "at": surface.cell_of(state.segment) if surface is not None and state is not None else None,
        "over": None if desk.over is None else {"text": desk.over.text, "todo": desk.over.todo},
    }


def view_line(desk: Desk, *, seen: int, at_s: float) -> tuple[str, int]:
    """The view as one line of JSON, with the shape of the part's surface if the page has `seen` another one last.

    Behind it the number of the surface that it has seen then.

    `at_s` (s): when, by any clock that only grows; the page tells by it what came late.
    """
    shown, surface = view(desk), desk.surface
    if surface is not None and shown["surface"] == surface.number != seen:
        shown["shape"] = surface.shape()
        seen = surface.number
    shown["at_ms"] = round(at_s * 1e3)
    return json.dumps(shown, ensure_ascii=True, separators=(",", ":")), seen


def _surface(desk: Desk, state: StateMessage | None) -> Surface | None:
    """The surface of the part that is on the machine; None before its passes begin."""
    surface = desk.surface
    return surface if surface is not None and state is not None and surface.part == state.part else None


def _word(desk: Desk, state: StateMessage | None) -> str:
    """The huge word. STILL is said only of a standstill that is proved and was seen within the last half second."""
    if desk.over is not None:
        return _OUTCOMES[desk.over.outcome]
    if desk.stale:
        return STALE
    if state is None:
        return UNKNOWN
    if state.still:
        return "STILL"
    return "TURNING" if state.phase == "turning" else UNKNOWN


def _doing(desk: Desk, state: StateMessage | None) -> str:
    """What happens now, and how the gate is."""
    if desk.over is not None:
        return "The run is over, and nobody watches the axis any more."
    if desk.stale:
        return "The run does not answer. The axis may be moving, and the gate may be open."
    if desk.control.stop.reason is not None:
        return "It is being stopped."
    if state is None:
        return "It is being made ready."
    wish = " It holds after this pass." if desk.control.holds and state.phase != "held" else ""
    at = f"segment {state.segment}, pass {state.number}"
    return {
        "preparing": desk.stage[:1].upper() + desk.stage[1:] or "It is being made ready",
        "turning": "To the end position. The gate is closed" if state.done == state.of else f"To {at}. Gate closed",
        "settling": "It stands. The gate is closed",
        "marking": f"THE GATE IS OPEN: mark {at}",
        "held": "It holds. The gate is closed, the motor holds the part",
        "between": "Between two parts. The gate is closed",
    }.get(state.phase, "The part is over. The gate is closed") + f".{wish}"


def _where(state: StateMessage) -> str:
    """At which part, segment and pass it is."""
    serial = f" (serial {state.serial})" if state.serial else ""
    part = f"Part {state.part} of {state.parts}{serial}" if state.part is not None else ""
    pass_ = f", pass {state.number} of {state.passes}" if state.number else ""
    segment = f"segment {state.segment} of {state.segments}{pass_}" if state.segment else ""
    text = ", ".join(filter(None, (part, segment)))
    return text[:1].upper() + text[1:]


def _following(state: StateMessage) -> str:
    """What comes behind that."""
    if state.next_segment is not None:
        return f"Then segment {state.next_segment}, pass {state.next_pass}"
    if state.phase == "preparing" and not state.of:
        return ""
    if state.part is not None and state.parts is not None and state.part < state.parts:
        return f"Then part {state.part + 1} of {state.parts}"
    return "Then it is done"
