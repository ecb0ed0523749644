"""The answers that describe what a file describes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import tomlkit


def answers_of(tables: Mapping[str, Any]) -> list[str]:
    """Each "KEY=ANSWER", as a person would say it, for the tables of a machine, a motor or a job."""
    return [f"{key}={text}" for key, text in _answers(tables, "")]


def _answers(tables: Mapping[str, Any], above: str) -> Iterator[tuple[str, str]]:
    if not above and isinstance(tables.get("motor"), dict):
        yield "motor", "label"
    if not above and "drive" in tables and not tables.get("gearing"):
        yield "gearing", "none"
    if above == "window." and "beam" in tables:
        yield "window.half_depth", "beam"
    for key, value in tables.items():
        whole = f"{above}{key}"
        if key == "version":
            continue
        if key == "gearing":
            yield from _gearing(value)
        elif whole == "axis.travel" and isinstance(value, dict):
            yield whole, f"{value['lowest']} to {value['highest']}"
        elif isinstance(value, dict):
            yield from _answers(value, f"{whole}.")
        else:
            yield _KEYS.get(whole, whole), _text(value) + (" around" if key == "circumference" else "")


_KEYS = {
    "part.circumference": "part.diameter",
    "mark.angle": "mark.arc",
    **{f"{prefix}step_angle": f"{prefix}full_steps_per_revolution" for prefix in ("", "motor.")},
}


def _gearing(stages: list[dict[str, Any]]) -> Iterator[tuple[str, str]]:
    if not stages:
        return
    yield "gearing", ", ".join(_stage(stage) for stage in stages)
    for number, stage in enumerate(stages):
        for key, value in stage.items():
            if key not in ("driving_teeth", "driven_teeth", "ratio", "kind"):
                yield f"gearing.{number}.{key}", _text(value)
        if "name" not in stage:
            yield f"gearing.{number}.name", "stage"


def _stage(stage: dict[str, Any]) -> str:
    teeth = "driving_teeth" in stage
    size = f"{stage['driving_teeth']}:{stage['driven_teeth']}" if teeth else str(stage["ratio"])
    return f"{size} {stage.get('kind', '')}".strip()


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        if value and isinstance(value[0], dict):
            return "[" + ", ".join(_inline(each) for each in value) + "]"
        return ", ".join(map(str, value))
    return str(value)


def _inline(table: dict[str, Any]) -> str:
    inline = tomlkit.inline_table()
    inline.update(table)
    return inline.as_string()
