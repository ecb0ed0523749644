"""What is known of a board, as `controller show` tells it: what is still to be settled first, then line by line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields
from enum import Enum
from types import MappingProxyType
from typing import Any

from firmware_host.controller.learned import Fact, Learned, Source
from firmware_host.reporting.document import Figure, Notes, Section, Value

SOURCES: Mapping[Source, str] = MappingProxyType(
    {
        Source.TOLD: "told",
        Source.SEEN: "seen",
        Source.STATED: "stated",
        Source.DIALECT: "measured",
        Source.ASSUMED: "not known",
    }
)
"""Where a line comes from, in a word."""


def _plain(value: Any) -> str:
    if isinstance(value, Enum):
        return str(value.value)
    if value is None:
        return "none"
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)


def _per(per_s: bool | None) -> str:
    return "not told" if per_s is None else "units/s" if per_s else "units/min"


def _ms(value: float | None) -> str:
    return "there is none" if value is None else f"{1000 * value:.1f} ms"


def _jump(value: float | None) -> str:
    return "not told" if value is None else f"{value:g} units/s" if value else "none"


def _wait(value: float) -> str:
    return f"{_ms(value)} after the first" if value else "as the ramp asks"


def _travel(value: tuple[float, float] | None) -> str:
    return "no bounds" if value is None else f"{value[0]:g} to {value[1]:g} units"


_LINES: Mapping[str, tuple[str, Callable[[Any], str]]] = MappingProxyType(
    {
        "axes": ("Axes", " ".join),
        "acknowledgement": ("How it answers a line", _plain),
        "position": ("Reported position", _plain),
        "position_asked": ("Position asked by", _plain),
        "listing": ("Settings listed", _plain),
        "rate_written_per_s": ("A rate is written in", _per),
        "rate_listed_per_s": ("A rate is listed in", _per),
        "acceleration_key": ("Acceleration that governs a plain move", _plain),
        "whole_accelerations": ("Accelerations kept as whole numbers", _plain),
        "start_jump_units_per_s": ("Step of speed at start and end", _jump),
        "start_jump_key": ("Setting of that step", _plain),
        "first_step_wait_s": ("Second step of a move", _wait),
        "shortest_move_steps": ("Shortest move that is made, steps", _plain),
        "travel_units": ("Travel kept to", _travel),
        "beyond_travel": ("Beyond it", _plain),
        "travel_keys": ("Settings of its ends", lambda keys: ", ".join(keys or ()) or "none"),
        "quick_stop": ("Quick stop", _plain),
        "soft_reset_s": ("Reset on request", _ms),
        "answer_s": ("An answer takes", _ms),
        "highest_step_rate": ("Highest step rate, steps/s", lambda rate: f"{rate:.0f}"),
    }
)
"""By field of the record: label, and how its value is written for people."""


def learned_section(learned: Learned) -> Section:
    """The record line by line; its JSON has value, source and note of each."""
    return Section("board", "This board", tuple(_line(name, getattr(learned, name)) for name in _names(learned)))


def to_settle(learned: Learned) -> Notes:
    """What is not known of the board, and what the user can do about it; else that all is known."""
    unknown = {name: fact for name, fact in _facts(learned).items() if not fact.known}
    if not unknown:
        return Notes(("All that a plan and a run need to know of this board is known.",))
    settled = tuple(f"{_LINES[name][0]}: {fact.note}." for name, fact in unknown.items() if fact.note)
    count = f"{len(unknown)} lines are" if len(unknown) > 1 else "1 line is"
    return Notes((f"{count} not known of this board; the unkind end is planned with.", *settled))


def _names(learned: Learned) -> tuple[str, ...]:
    return tuple(field.name for field in fields(learned))


def _facts(learned: Learned) -> dict[str, Fact[Any]]:
    return {name: getattr(learned, name) for name in _names(learned)}


def _line(name: str, fact: Fact[Any]) -> Figure:
    label, words = _LINES[name]
    note = f"; {fact.note}" if fact.known and fact.note else ""  # else it says what to settle, and stands above
    text = f"{words(fact.value)}{note} ({SOURCES[fact.source]})"
    if fact.value is None and not fact.known:
        text = SOURCES[fact.source]
    value = Section(
        "",
        "",
        (
            Figure("value", "", _json_value(fact.value)),
            Figure("source", "", fact.source.value),
            Figure("note", "", fact.note or None),
        ),
    )
    return Figure(name, label, value, brief=True, text=text)


def _json_value(value: Any) -> Value:
    plain: Value = value.value if isinstance(value, Enum) else value
    return plain
