"""Draws a job: all kinds of parts, marks, windows, motions stated and left open."""

from __future__ import annotations

from math import pi
from pathlib import Path

from tests.independent.drawing import Draw, Table, draw_tolerances
from tests.independent.values import diameter, si

ACCEPTED = ("inertia-ratio", "torque-accelerating", "radial-load", "heat-holding", "grip", "creep", "seating")
MESH = Path(__file__).with_name("cylinder.stl")
"""A closed prism of 32 sides, 40 mm thick and 60 mm long, its axis z through the file's origin."""


def draw_part(draw: Draw, on_rollers: bool) -> Table:
    kind = draw.pick("solid", "tube", "cone", "stepped", "measured", "mesh")
    size, length = draw.between(12e-3, 140e-3), draw.between(20e-3, 400e-3)
    part: Table = {"kind": kind, "diameter": draw.text("length", size)}
    if kind != "stepped":
        part["length"] = draw.text("length", length)
    if kind == "mesh":
        part |= {"diameter": "40 mm", "length": "60 mm", "file": str(MESH), "unit": "mm", "axis": "z"}
    draw_shape(draw, part, on_rollers)
    if kind == "measured":
        part["mass"] = draw.quantity("mass", 0.1, 8.0)
    else:
        draw_weight(draw, part)
    if draw.random.random() < 0.25:
        part["bodies"] = [draw_body(draw, part, size) for _ in range(draw.pick(1, 1, 2))]
    if draw.random.random() < 0.15:
        part["circumference"] = draw.text("length", pi * si(part.pop("diameter")))
    if draw.random.random() < 0.15:
        part["keep_out"] = [
            {"start": draw.text("angle", 5.5), "end": draw.text("angle", 5.5 + draw.between(0.05, 0.5))}
        ]
    if kind in ("solid", "tube", "mesh", "measured") and draw.random.random() < 0.3:
        part["contact_diameter"] = draw.text("length", size * draw.between(0.7, 1.2))
    if "bodies" in part and draw.random.random() < 0.5:
        part |= {"mass_offset": draw.text("length", size * 0.01), "mass_offset_angle": draw.quantity("angle", 0.1, 6.0)}
        return draw.optional(part, overhang=draw.text("length", length * draw.between(0.3, 0.6)))
    return draw.optional(
        part,
        mass_offset=draw.quantity("length", 2e-5, 8e-3),
        overhang=draw.text("length", length * draw.between(0.3, 0.6)),
    )


def draw_body(draw: Draw, part: Table, size: float) -> Table:
    """A small one beside the axis, of the part's density where that is known."""
    small = [draw.text("length", size * draw.between(0.05, 0.15)) for _ in range(3)]
    body: Table = {"distance": draw.text("length", size * draw.between(0.1, 0.7))}
    if draw.random.random() < 0.5:
        body |= {"kind": "box", "outward": small[0], "across": small[1], "along": small[2]}
    else:
        body |= {"kind": "cylinder", "diameter": small[0], "length": small[1]}
        body = draw.optional(body, direction=draw.pick("along", "outward"))
    weights = [{"mass": draw.quantity("mass", 1e-3, 1e-2)}, {"density": "2000 kg/m^3"}, {"material": "brass"}]
    if "density" in part or "material" in part:
        weights.append({})
    body |= draw.pick(*weights)
    return draw.optional(body, angle=draw.quantity("angle", 0.1, 6.0), removed=draw.pick(True, False, False))


def draw_shape(draw: Draw, part: Table, on_rollers: bool) -> None:
    size = si(part["diameter"])
    if part["kind"] == "tube":
        part["inner_diameter"] = draw.text("length", size * draw.between(0.3, 0.97))
    elif part["kind"] == "cone":
        part |= {
            "large_diameter": draw.text("length", size * draw.between(1.01, 1.3)),
            "small_diameter": draw.text("length", size * draw.between(0.75, 0.99)),
        }
        draw_cone(draw, part, on_rollers)
    elif part["kind"] == "stepped":
        other = draw.text("length", size * draw.between(0.4, 1.5))
        part["cylinders"] = [
            {"diameter": part["diameter"], "length": draw.quantity("length", 20e-3, 200e-3)},
            {
                "diameter": other,
                "length": draw.quantity("length", 10e-3, 150e-3),
                "bore": draw.text("length", size * 0.2),
            },
        ]
        if draw.random.random() < 0.3:
            part["contact_diameter"] = other
    elif part["kind"] == "measured":
        part["inertia"] = draw.quantity("inertia", 1e-5, 1e-2)


def draw_cone(draw: Draw, part: Table, on_rollers: bool) -> None:
    large, small, length = (si(part[key]) for key in ("large_diameter", "small_diameter", "length"))
    if draw.random.random() < 0.5:
        part["wall"] = draw.text("length", small * draw.between(0.01, 0.3))
    if on_rollers and draw.random.random() < 0.8:
        first = length * draw.between(0.02, 0.4)
        places = [first, first + length * draw.between(0.05, 0.5)] if draw.random.random() < 0.4 else [first]
        part["contact_from"] = [draw.text("length", place) for place in places]
    elif on_rollers or draw.there():
        part["contact_diameter"] = draw.text("length", (large + small) / 2)


def draw_weight(draw: Draw, part: Table) -> None:
    """A density or a material, a weight, or both, the weight off by up to a fifth."""
    density = draw.between(900.0, 8500.0)
    about = density * 0.7 * si(part["diameter"]) ** 2 * si(part.get("length", "150 mm"))
    by = draw.random.random()
    if by < 0.75:
        part |= (
            {"density": draw.text("density", density)}
            if by < 0.5
            else {"material": draw.pick("steel", "brass", "aluminium")}
        )
    if by > 0.3:
        part["mass"] = draw.text("mass", about * draw.between(0.4, 1.2))


def draw_job(draw: Draw, part: Table, *, on_rollers: bool, geared: bool) -> Table:
    size, accepting = diameter(part), draw.pick(0.0, 0.0, 0.0, 0.5)
    window: Table = {"half_depth": draw.text("length", min(draw.between(6e-4, 5e-3), size / 8))}
    if draw.random.random() < 0.2:
        beam = {
            "waist_diameter": draw.quantity("length", 2e-5, 1e-4),
            "wavelength": "1.064 um",
            "beam_quality": draw.between(1.05, 2.0),
        }
        window = {"beam": draw.optional(beam, spot_growth=draw.between(1.05, 1.4))}
    window = draw.optional(
        window,
        focus=draw.pick("crown", "balanced"),
        incidence_limit=draw.quantity("angle", 0.3, 1.2),
        lens_field=draw.quantity("length", 20e-3, 150e-3),
        flat_field_corrected=draw.pick(True, False),
        telecentric=draw.pick(True, False),
        focal_length=draw.quantity("length", 80e-3, 400e-3),
        spot_diameter=draw.quantity("length", 2e-5, 2e-4),
    )
    mark: Table = {"angle": draw.pick("360 deg", "180 deg", "90 deg")}
    if draw.random.random() < 0.4:
        mark = {"arc": draw.text("length", size * draw.between(0.3, 2.5))}
    if draw.random.random() < 0.1:
        mark = {
            "arc": draw.text("length", size * 1.2),
            "gaps": [
                {"at": draw.text("length", size * place), "width": draw.quantity("length", 2e-4, 2e-3)}
                for place in (0.2, 0.45, 0.6, 0.8, 1.0)
            ],
        }
    mark = draw.optional(
        mark, width=draw.quantity("length", 5e-3, 60e-3), passes=draw.pick(1, 1, 3), levelled=draw.pick(True, False)
    )
    if draw.random.random() < 0.5:
        mark["pass_time"] = draw.quantity("time", 0.05, 30.0)
    if draw.random.random() < 0.5:
        mark[draw.pick("start_edge", "start_angle")] = draw.text("angle", draw.pick(1, -1) * draw.between(0.05, 8.0))
    segments: Table = (
        {"seams": "in-gaps"}
        if "gaps" in mark
        else draw.pick({}, {"count": draw.random.randint(2, 24)}, {"angle": draw.quantity("angle", 0.1, 0.8)})
    )
    return {
        "version": 1,
        "name": "drawn job",
        "machine": "drawn machine",
        "part": part,
        "mark": mark,
        "window": window,
        "segments": draw.optional(segments, diameter_uncertainty=draw.quantity("length", 1e-5, 3e-4)),
        "index": draw_index(draw),
        "tolerances": draw_tolerances(draw, part, on_rollers=on_rollers, geared=geared),
        "accept": {name: "tried" for name in ACCEPTED if draw.random.random() < accepting},
        "gate": draw.pick({"kind": "operator"}, {"kind": "timed", "duration": draw.quantity("time", 0.1, 20.0)}),
    }


def draw_index(draw: Draw) -> Table:
    index = {
        "finish": draw.pick("stay", "unwind", "next-turn"),
        "approach": draw.pick("auto", "both-sides", "one-side"),
    }
    if draw.random.random() < 0.7:
        index |= {"speed": draw.quantity("speed", 0.3, 25.0), "acceleration": draw.quantity("acceleration", 0.5, 250.0)}
    if draw.random.random() < 0.2:
        index["settle"] = draw.quantity("time", 1e-3, 1.0)
    if draw.random.random() < 0.5:
        index["safety_factor"] = draw.between(1.0, 4.0)
    return index
