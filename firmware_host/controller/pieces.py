"""One move in short pieces, sent one after the other so that little motion waits in the controller at any time.

That is how a move is stopped on a controller that no word stops without losing its position: nothing more is sent.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from firmware_host.controller.axis import Axis
from firmware_host.controller.standstill import MOVING_POLL_S, OnPoll

_ANSWERED_S = 0.02
"""No report is asked for so shortly before a piece is due (s): the piece must not wait for its answer."""


class Piece(NamedTuple):
    """A piece of a move: its end (decimal text, machine units), when it is to be sent, and when it has to be there.

    Both in s from the start of the move. A piece that comes after `latest_s` lets the axis slow down before it.
    """

    coordinate: str
    due_s: float
    latest_s: float


def send_pieces(axis: Axis, pieces: Sequence[Piece], lines: Sequence[bytes], on_poll: OnPoll | None) -> float:
    """Send the `lines` of the pieces, each when it is due; return when the last was accepted (monotonic s), less the
    time that the whole move would have been under way by then.

    So that instant counts as the one at which the whole move was accepted. It lies later by as much as a piece came too
    late. Reports are asked for meanwhile and handed to `on_poll`. Errors as `Axis.ask` and `Axis.status`.
    """
    begun_s = axis.ask(lines[0]).answered_at_s
    for piece, line in zip(pieces[1:], lines[1:], strict=True):
        _pass_time(axis, begun_s + piece.due_s, on_poll)
        answered_s = axis.ask(line).answered_at_s
        if piece.latest_s > 0:
            begun_s = max(begun_s, answered_s - piece.latest_s)
    return begun_s


def _pass_time(axis: Axis, until_s: float, on_poll: OnPoll | None) -> None:
    """Ask where the axis is, every now and then, until `until_s` (monotonic s)."""
    while (left_s := until_s - axis.clock.monotonic()) > 0:
        if left_s > _ANSWERED_S:
            report = axis.status()
            if on_poll is not None:
                on_poll(report)
        axis.sender.listen(min(max(until_s - axis.clock.monotonic(), 0.0), MOVING_POLL_S))
