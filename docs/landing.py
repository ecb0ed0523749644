"""The picture of the landing page: what the program does, drawn to scale from a shipped job's own plan."""

from __future__ import annotations

import math

from drawing import Drawing, Point

import firmware_host as fh

JOB = "bottle-band"
_WIDE, _HIGH = 440.0, 320.0
_SHOWN = 3
"""Segments in the right half."""
_RISE = 48.0
"""From one of them to the next."""


def landing() -> str:
    """Both halves of the picture, which stand beside each other where there is room."""
    plan = fh.plan_job(fh.load_job(JOB))
    return f'<div class="halves">{_end_on(plan)}{_in_time(plan)}</div>'


def _around(radius: float, turned_deg: float, crown: float) -> Point:
    angle = math.radians(turned_deg)
    return _WIDE / 2 + radius * math.sin(angle), crown + 300 - radius * math.cos(angle)


def _end_on(plan: fh.JobPlan) -> str:
    """The upper part of the bottle, seen along its axis, to scale; its second segment is marked."""
    segments = plan.segments
    width, across = float(segments.widths_deg()[0]), float(segments.diameter) * 1e3
    depth_mm = segments.window.depth * 1e3
    words = (
        f"A bottle of {across:.4g} mm seen end-on, with the laser above it. Only what lies in the marking window, "
        f"{depth_mm:.2g} mm deep, is in focus: so the mark is split into {segments.count} segments of {width:.2f} "
        "degrees. One segment is under the laser, the one before it is done, the next one waits."
    )
    drawing = Drawing(_WIDE, _HIGH, words)
    crown, radius = 112.0, 300.0
    drawing.text(0, 18, "1  Segments", bold=True)
    reach = 43
    rim = [_around(radius, each, crown) for each in range(-reach, reach + 1)]
    drawing.area((rim[0][0], _HIGH - 6), *rim, (rim[-1][0], _HIGH - 6), look="pale")
    high = depth_mm * 2 * radius / across
    drawing.area((0, crown), (_WIDE, crown), (_WIDE, crown + high), (0, crown + high), look="olive")
    for number, (name, look) in enumerate((("done", "steel"), ("now", "copper"), ("next", "soft"))):
        middle = (number - 1) * width
        ends = max(middle - width / 2, -reach), min(middle + width / 2, reach)
        arc = [ends[0] + (ends[1] - ends[0]) * step / 24 for step in range(25)]
        outer = [_around(radius, each, crown) for each in arc]
        inner = [_around(radius - 17, each, crown) for each in reversed(arc)]
        drawing.area(*outer, *inner, look=look, hatched=name == "done")
        drawing.text(*_around(radius - 40, middle * 0.93, crown), name, anchor="middle")
        drawing.line(_around(radius - 26, ends[1], crown), _around(radius, ends[1], crown))
    drawing.line(_around(radius - 26, -reach, crown), _around(radius, -reach, crown))
    drawing.area((_WIDE / 2 - 26, 26), (_WIDE / 2 + 26, 26), (_WIDE / 2, crown), look="beam")
    drawing.text(_WIDE / 2 + 34, 44, "laser")
    drawing.text(0, crown - 9, f"marking window, {depth_mm:.2g} mm")
    turn = [_around(radius - 66, each, crown) for each in range(20, -21, -4)]
    drawing.line(*turn, arrow=True)
    drawing.text(_WIDE / 2, crown + 108, "turn, stand still, mark;", anchor="middle")
    drawing.text(_WIDE / 2, crown + 128, "turn, stand still, mark", anchor="middle")
    told = f"{across:.4g} mm bottle: {segments.count} segments of {width:.2f}°, to scale"
    drawing.text(_WIDE / 2, _HIGH - 16, told, anchor="middle")
    return drawing.svg()


def _in_time(plan: fh.JobPlan) -> str:
    """Where the part stands against time, and below it when the gate is open; the time is not to scale."""
    targets = plan.route.segment_targets()[:_SHOWN].tolist()
    steps = ", ".join(str(each) for each in targets)
    words = (
        f"Against time: the part stands at microsteps {steps}, one for each segment, with a smooth move between "
        "them. The gate to the laser is open only while the axis stands still, and closed while it turns."
    )
    drawing = Drawing(_WIDE, _HIGH, words)
    drawing.text(0, 18, "2  Moves, in whole microsteps", bold=True)
    left, stands, moves = 6.0, 98.0, 58.0
    levels = [150.0 - _RISE * number for number in range(_SHOWN)]
    path: list[Point] = []
    for number, level in enumerate(levels):
        start = left + number * (stands + moves)
        path += [(start, level), (start + stands, level)]
        drawing.text(start + 4, level + 20, f"segment {number + 1}")
        drawing.text(start + 4, level + 38, f"microstep {targets[number]}", look="steel")
        if number + 1 < _SHOWN:
            path += [(start + stands + moves * each, level - _RISE * _ramp(each)) for each in _FINE]
    drawing.line(*path, look="steel thick")
    drawing.text(0, 222, "3  The gate", bold=True)
    for number in range(_SHOWN):
        start = left + number * (stands + moves)
        drawing.box(start, 238, stands, 40, look="olive", text="OPEN\nstill")
        if number + 1 < _SHOWN:
            drawing.box(start + stands, 238, moves, 40, look="soft", text="closed\nturning")
    drawing.line((left, 296), (_WIDE - 6, 296), arrow=True)
    drawing.text(_WIDE - 8, 314, "time, not to scale", anchor="end")
    return drawing.svg()


def _ramp(done: float) -> float:
    """How far a move has come when so much of its time is over: it speeds up as long as it brakes."""
    return 2 * done * done if done < 0.5 else 1 - 2 * (1 - done) ** 2


_FINE = tuple(each / 20 for each in range(1, 20))
