"""Random machines and jobs as the plain tables that their files would hold."""

from __future__ import annotations

from tests.independent.drawing import Draw, Table
from tests.independent.drawn_job import draw_job, draw_part
from tests.independent.drawn_machine import draw_machine, draw_ramp, draw_warming


def pair(seed: int) -> tuple[Table, Table]:
    """(machine, job) number `seed`."""
    draw = Draw(seed)
    on_rollers = draw.random.random() < 0.4
    part = draw_part(draw, on_rollers)
    machine = draw_machine(draw, part, on_rollers)
    job = draw_job(draw, part, on_rollers=on_rollers, geared=bool(machine["gearing"]))
    if draw.random.random() < 0.15:
        machine["ramp"] = draw_ramp(draw)
    if draw.random.random() < 0.15:
        machine["warming"] = draw_warming(draw)
    return machine, job
