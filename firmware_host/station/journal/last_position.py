"""Where a run's journal says that it has left the axis, and what makes that worthless."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from firmware_host.planning.route.moves import Route

SET_ANEW = "set-anew"
AT_MACHINE_ZERO = "it stands at machine zero, where a controller that was switched off and on stands, too"


@dataclass(frozen=True)
class LastPosition:
    """`origin`: machine step of the job's zero, None if none was ever set; `turns` taken back since.

    The axis was left at a microstep (from the job's zero) of `lowest` to `highest`: at rest, or on the way of a move.
    `lost` tells why nothing is known; empty if something is.
    """

    origin: int | None
    turns: int
    lowest: int
    highest: int
    lost: str


def turns_of(zero: Mapping[str, Any]) -> int:
    """Whole turns taken back when this zero was journalled; a journal of before unwinding existed tells of none."""
    return int(zero.get("turns", 0))


def last_position(events: Iterable[Mapping[str, Any]], route: Route, *, stop_keeps_position: bool) -> LastPosition:
    """What the events amount to. Where a stop stops short, a move whose end wasn't journalled tells nothing."""
    places, lost, under_way, turns = [0], "", False, 0
    origin: int | None = None
    for event in events:
        kind = event["event"]
        if kind == "zero":
            origin, turns = int(event["origin_steps"]), turns_of(event)
            places, lost, under_way = [event["at"]], "", False
        elif kind == "resume" and event["zero"] == SET_ANEW:
            lost = "the zero was to be set anew, which was not done"
        elif kind == "release":
            lost = "the motor was released when the run ended, as it was asked for"
        elif kind == "position-lost":
            lost = "the controller was found reset, locked, or with its motor released"
        elif kind == "move":
            place = route.angles.target(event["segment"] - 1, route.per_part_turn, turns)
            places += [place - route.overrun, place]
            under_way = True
        elif kind in ("unwind", "finish"):
            places.append(event["target"])
            under_way = True
        elif kind == "at-rest":
            places = [route.angles.target(event["segment"] - 1, route.per_part_turn, turns)]
            under_way = False
        elif kind == "finished":
            places, under_way = [event["target"]], False
        elif kind == "end":
            if event.get("position_lost") and not lost:
                lost = f"the run ended with: {event['reason']}"
            under_way = False
    if under_way and not stop_keeps_position:
        lost = "it was moving when the run crashed, and may have been stopped short"
    return LastPosition(origin, turns, min(places), max(places), lost)
