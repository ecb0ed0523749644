"""An open gate, watched: open only while the axis is seen to stand still, and closed before anything else is done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from firmware_host.controller.controller import Controller
from firmware_host.errors import FirmwareHostError
from firmware_host.station.gates.gate import Gate, PassRequest, PassState

WATCH_S = 0.02
"""How long a run listens between two looks (s)."""

OnClosed = Callable[[BaseException], object]
Poll = Callable[[], PassState]
Look = Callable[[PassState], bool]


@contextmanager
def opened(gate: Gate, controller: Controller, request: PassRequest, on_closed: OnClosed) -> Iterator[None]:
    """The gate is open inside; whatever ends the block closes it first. What fails in that is noted on the error.

    `on_closed`: told of the error that closed it, once it is closed.
    """
    try:
        gate.open(request)
        yield
    except BaseException as error:
        try:
            with controller.carrying_through():
                gate.close()
        except (FirmwareHostError, OSError) as further:
            error.add_note(f"and while closing the gate: {further}")
        else:
            on_closed(error)
        raise
    with controller.carrying_through():
        gate.close()


def until_done(poll: Poll, controller: Controller, look: Look, watch_s: float = WATCH_S) -> bool:
    """Watch that nothing moves until the marking side says done, and once more then.

    `poll` asks the gate; `look` is told what it says, at each look until it is done; where `look` returns True, nothing
    more is waited for, and False is returned. `watch_s` (s): between two looks. Raises as the gate and
    `Controller.watch`.
    """
    while True:
        state = poll()
        if state is PassState.DONE:
            with controller.carrying_through():  # it is marked, whoever asks for a stop meanwhile
                controller.watch()
            return True
        controller.watch()
        if look(state):
            return False
        controller.hear(watch_s)
