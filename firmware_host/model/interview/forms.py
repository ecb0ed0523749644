"""Forms of words that fill in more than one key: gearing, chuck, travel, lists of pairs."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from firmware_host.errors import InputError
from firmware_host.model.interview.reading import is_quantity
from firmware_host.system.parsing import parse_toml
from firmware_host.units import PI, parse_quantity

BEAM = "beam"
"""The answer for a window that follows from the beam."""
_KINDS = {
    **{"belt": "toothed-belt", "toothed-belt": "toothed-belt", "gear": "spur-gears", "gears": "spur-gears"},
    **{"spur-gears": "spur-gears", "worm": "worm", "planetary": "planetary", "coupling": "coupling"},
}
_NAMES = {"toothed-belt": "toothed belt", "spur-gears": "spur gears"}
_TEETH = re.compile(r"(\d{1,5})\s*:\s*(\d{1,5})")
_RATIO = re.compile(r"\d{1,9}(?:\.\d{1,12}|/\d{1,9})?")
_PAIR = re.compile(r"\s*(?:/|:|\bto\b|\bx\b|\s)\s*(?=[+-]?[\d.])")
_HOW_GEARED = "Write each stage as DRIVING:DRIVEN teeth and its kind, like 20:60 belt, or none"


def gearing(text: str) -> dict[str, Any]:
    """The stages from the motor on: "20:60 belt, 1:30 worm", "40:1 planetary"; "none". Raises `InputError`."""
    if text.strip().lower() in ("none", "no", "0", "direct"):
        return {"gearing": []}
    stages = [_stage(each.strip(), text) for each in re.split(r"[,;+]", text)]
    for stage in stages:
        alike = [each for each in stages if each.get("name") == stage.get("name")]
        if stage.get("name") and len(alike) > 1:
            for number, each in enumerate(alike, start=1):
                each["name"] = f"{each['name']} {number}"
    return {"gearing": stages}


def _stage(text: str, whole: str) -> dict[str, Any]:
    """One stage. Teeth are driving to driven; over one it is a ratio, as catalogues write it; one start is a worm."""
    size, _, word = text.partition(" ") if _TEETH.match(text) is None else _split(text)
    kind = _KINDS.get(word.strip().lower()) if word.strip() else None
    if word.strip() and kind is None:
        raise InputError(f"{word.strip()!r} is no kind of stage", f"Known: {', '.join(sorted(set(_KINDS.values())))}")
    if (teeth := _TEETH.fullmatch(size)) is not None:
        driving, driven = int(teeth[1]), int(teeth[2])
        if driven == 1:
            shape: dict[str, Any] = {"ratio": str(driving)}
        else:
            kind = kind or ("worm" if driving == 1 else None)
            shape = {"driving_teeth": driving, "driven_teeth": driven}
    elif _RATIO.fullmatch(size):
        shape = {"ratio": size}
    else:
        raise InputError(f"{whole!r} is no gearing", _HOW_GEARED)
    of_kind = {"name": _NAMES.get(kind, kind), "kind": kind} if kind is not None else {}
    return {**of_kind, **shape}


def _split(text: str) -> tuple[str, str, str]:
    teeth = _TEETH.match(text)
    end = teeth.end() if teeth is not None else 0
    return text[:end], " ", text[end:]


def chuck_inertia(text: str) -> dict[str, Any]:
    """An inertia; or mass and diameter of chuck and jaws, taken as a solid cylinder (J = m d^2/8). `InputError`."""
    if is_quantity(text, "inertia"):
        return {"drive.inertia": text}
    parts = _PAIR.split(text.strip())
    if len(parts) != 2 or not (is_quantity(parts[0], "mass") and is_quantity(parts[1], "length")):
        raise InputError(f"{text!r} is neither", "Write an inertia, 4200 g*cm^2, or mass and diameter, 2.5 kg 100 mm")
    mass, across = parse_quantity(parts[0], "mass"), parse_quantity(parts[1], "length")
    inertia = float(f"{float(mass.exact * across.exact**2 / 8) * 1e7:.4g}")
    return {"drive.inertia": f"{inertia:.12g} g*cm^2", "drive.mass": parts[0]}


def travel(text: str) -> dict[str, Any]:
    """The word endless, or two angles: "-90 deg to 270 deg". Raises `InputError`."""
    if text.strip().lower() == "endless":
        return {"axis.travel": "endless"}
    ends = _PAIR.split(text.strip())
    if len(ends) != 2 or not all(is_quantity(each, "angle") for each in ends):
        raise InputError(f"{text!r} is no travel", "Write endless, or its two ends, like -90 deg to 270 deg")
    return {"axis.travel": {"lowest": ends[0], "highest": ends[1]}}


def full_steps(prefix: str) -> Callable[[str], dict[str, Any]]:
    """Full steps for a turn, or the step angle, at the keys of a motor below `prefix`."""

    def reads(text: str) -> dict[str, Any]:
        if re.fullmatch(r"\d{1,5}", text.strip()):
            return {f"{prefix}full_steps_per_revolution": int(text)}
        if is_quantity(text, "angle"):
            return {f"{prefix}step_angle": text}
        raise InputError(f"{text!r} is neither", "Write 200, or the angle of a step, like 1.8 deg")

    return reads


def part_size(text: str) -> dict[str, Any]:
    """A diameter, or a circumference as measured with a tape: "251 mm around". Raises `InputError`."""
    size, _, word = text.strip().rpartition(" ")
    if word == "around":
        if not is_quantity(size, "length"):
            raise InputError(f"{size!r} is no length", "Write it like 251 mm around")
        return {"part.circumference": size}
    if not is_quantity(text, "length"):
        raise InputError(f"{text!r} is no length", "Write a diameter, 80 mm, or what a tape shows, 251 mm around")
    return {"part.diameter": text}


def mark_size(text: str) -> dict[str, Any]:
    """How far the mark goes around: a length on the surface, or an angle. Raises `InputError`."""
    if is_quantity(text, "length"):
        return {"mark.arc": text}
    if is_quantity(text, "angle"):
        return {"mark.angle": text}
    raise InputError(f"{text!r} is neither a length nor an angle", "Write 60 mm, or 360 deg for a full wrap")


def window_size(text: str) -> dict[str, Any]:
    """Half-depth of the window; nothing for the word beam, from which it follows. Raises `InputError`."""
    if text != BEAM and not is_quantity(text, "length"):
        raise InputError(f"{text!r} is no length", "Write it like 0.5 mm, or beam")
    return {} if text == BEAM else {"window.half_depth": text}


def made_of(text: str) -> dict[str, Any]:
    """A density, or the name of a material in the table of densities."""
    return {"part.density": text} if is_quantity(text, "density") else {"part.material": text}


def pairs(key: str, names: tuple[str, str]) -> Callable[[str], dict[str, Any]]:
    """A list of pairs, "30 rpm 0.84 N*m, 150 rpm 0.8 N*m", or as a file holds it, "[{ ... }]"."""

    def reads(text: str) -> dict[str, Any]:
        if text.startswith("["):
            return {key: parse_toml(f"value = {text}", "the answer")["value"]}
        items = [_PAIR.split(each.strip()) for each in text.split(",")]
        if any(len(item) != len(names) for item in items):
            raise InputError(f"{text!r} is no list of pairs", f"Write {' and '.join(names)} of each, commas between")
        return {key: [dict(zip(names, item, strict=True)) for item in items]}

    return reads


def around(diameter: float) -> float:
    """Way around a circle of that diameter, m."""
    return float(PI) * diameter
