"""What of a job belongs together, and what of it with its machine."""

from __future__ import annotations

import math
from collections.abc import Callable

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.part.part import ConePart, MeasuredPart, RoundPart, SolidPart, SteppedPart, TubePart
from firmware_host.model.plausible.pair import INERTIA_SLIPS, Pair, Slip, over, size_of

_THOUSAND: tuple[Slip, ...] = (
    (300, 3e3, "Grams for kilograms, or g/cm^3 for kg/m^3?"),
    (3e-4, 3e-3, "Grams for kilograms, or kg/m^3 for g/cm^3?"),
)

_INCH_MM = 25.4


def _size(times: float, words: str, otherwise: str = "") -> Callable[[Job], str]:
    """What tells a size across that should be so many `times` as large; `otherwise`: what else may have been confused.

    Only where mass goes with the square of one size across is that size named with what should stand there.
    """

    def told(job: Job) -> str:
        key, size = ("diameter", job.part.diameter) if job.part.circumference is None else (
            "circumference", job.part.circumference
        )  # fmt: skip
        if not isinstance(job.part, SolidPart):
            return f"{words}? {otherwise}".rstrip()
        right = f"{size.to('mm'):.6g} in" if times == _INCH_MM else f"{times * size.to('mm'):.6g} mm"
        return f'{words}: did you mean part.{key} = "{right}"? {otherwise}'.rstrip()

    return told


def _volume(part: RoundPart) -> float | None:
    """What the part takes up without bodies beside its axis, m^3; None for a mesh or a measured part."""
    if part.bodies:
        return None
    across = part.diameter.si
    if isinstance(part, SolidPart):
        return math.pi / 4 * across**2 * part.length.si
    if isinstance(part, TubePart):
        return math.pi / 4 * (across**2 - part.inner_diameter.si**2) * part.length.si
    if isinstance(part, SteppedPart):
        bored = [(each, each.bore.si if each.bore is not None else 0.0) for each in part.cylinders]
        return sum(math.pi / 4 * (each.diameter.si**2 - bore**2) * each.length.si for each, bore in bored)
    if isinstance(part, ConePart):
        wall = 2 * part.wall.si if part.wall is not None else None
        whole = _frustum(part.large_diameter.si, part.small_diameter.si, part.length.si)
        if wall is None:
            return whole
        return whole - _frustum(part.large_diameter.si - wall, part.small_diameter.si - wall, part.length.si)
    return None


def _frustum(large: float, small: float, length: float) -> float:
    return math.pi / 12 * length * (large**2 + large * small + small**2)


def _weighed(job: Job) -> float | None:
    """The weighed mass against volume times density."""
    part, volume = job.part, _volume(job.part)
    if part.density is None or volume is None:
        return None
    return over(part.mass, volume * part.density.si)


def _weighed_at_all(job: Job) -> float | None:
    """The weighed mass against the same volume of light metal, where no density is stated: from foam to gold."""
    part, volume = job.part, _volume(job.part)
    return over(part.mass, volume * 2700) if part.density is None and volume is not None else None


def _measured_inertia(job: Job) -> float | None:
    part = job.part
    if not isinstance(part, MeasuredPart) or part.mass is None:
        return None
    return over(part.inertia, part.mass.si * part.diameter.si**2 / 8)


def _offset(job: Job) -> float | None:
    """The centre of mass of a round part against a hundredth of its diameter; zero is none."""
    return over(job.part.mass_offset, job.part.diameter.si / 100)


def _overhang(job: Job) -> float | None:
    return over(job.part.overhang, job.part.whole_length.si)


def _mark_width(job: Job) -> float | None:
    return over(job.mark.width, job.part.whole_length.si)


def _uncertainty(job: Job) -> float | None:
    return over(job.segments.diameter_uncertainty, job.part.diameter.si / 100)


def _slender(job: Job) -> float | None:
    return job.part.whole_length.si / (3 * job.part.diameter.si)


JOB_PAIRS = (
    Pair(
        ("part.mass", "part.density", "part.diameter", "part.length"),
        "{0.part.mass} weighed, for this volume of {0.part.density},",
        _weighed,
        0.04,
        0.6,
        1.7,
        25,
        (
            (580, 720, _size(_INCH_MM, "Inches written as millimetres", "Or grams for kilograms?")),
            (1 / 720, 1 / 580, _size(1 / _INCH_MM, "Millimetres written as inches", "Or kg/m^3 for g/cm^3?")),
            (12e3, 21e3, "All sizes are in inches, written as millimetres?"),
            *_THOUSAND,
            (80, 125, _size(10, "A tenth of the size: centimetres written as millimetres")),
            (0.008, 0.0125, _size(0.1, "Ten times the size: centimetres for millimetres, or a digit too many")),
            (0.2, 0.3, _size(0.5, "Twice the size: a diameter in the place of a radius")),
            (3.5, 4.5, _size(2, "Half the size: the radius in the place of the diameter")),
            (0.4, 0.5, "Pounds for kilograms, or a hollow part called solid?"),
            (2, 2.4, "Kilograms for pounds?"),
        ),
    ),
    Pair(
        ("part.mass", "part.diameter", "part.length"),
        "{0.part.mass} for the volume of the part",
        _weighed_at_all,
        1e-3,
        0.03,
        8,
        50,
        ((300, 3e3, "Grams for kilograms?"), (3e-4, 3e-3, "Kilograms for grams?")),
    ),
    Pair(
        ("part.inertia", "part.mass"),
        "part.inertia {0.part.inertia} of {0.part.mass} at {0.part.diameter}",
        _measured_inertia,
        1e-4,
        0.05,
        15,
        1e4,
        ((15, 300, "The diameter at the mark is not the largest, or a radius stands for it?"), *INERTIA_SLIPS),
    ),
    Pair(
        ("part.mass_offset", "part.diameter"),
        "mass_offset {0.part.mass_offset} in a part of {0.part.diameter}",
        _offset,
        0,
        0,
        25,
        150,
        (
            (150, 1e9, "Centimetres or metres for millimetres?"),
            (25, 150, "Centimetres for millimetres, or another distance in its place?"),
        ),
    ),
    Pair(
        ("part.overhang", "part.length"),
        "overhang {0.part.overhang} of a part {0.part.whole_length} long",
        _overhang,
        0,
        0,
        3,
        100,
        ((100, 1e9, "Metres for millimetres?"), (3, 100, "Centimetres for millimetres?")),
    ),
    Pair(
        ("mark.width", "part.length"),
        "a mark {0.mark.width} wide on a part {0.part.whole_length} long",
        _mark_width,
        0,
        0,
        1.001,
        20,
        ((5, 1e9, "Centimetres or metres for millimetres?"),),
    ),
    Pair(
        ("segments.diameter_uncertainty", "part.diameter"),
        "diameter_uncertainty {0.segments.diameter_uncertainty} of {0.part.diameter}",
        _uncertainty,
        0,
        0,
        20,
        95,
        ((20, 1e9, "Millimetres for hundredths, or centimetres for millimetres?"),),
    ),
    Pair(
        ("part.length", "part.diameter"),
        "a part {0.part.whole_length} long and {0.part.diameter} thick",
        _slender,
        1e-5,
        1e-3,
        50,
        1e4,
        ((50, 1e9, "Centimetres or metres for millimetres?"),),
    ),
)


def _roller_to_part(job: Job, machine: Machine) -> float | None:
    across = size_of(machine.drive, "roller_diameter")
    return across / job.part.contact.si if across is not None else None


def _part_in_chuck(job: Job, machine: Machine) -> float | None:
    largest = size_of(machine.drive, "largest_grip")
    return job.part.contact.si / largest if largest is not None else None


TOGETHER_PAIRS = (
    Pair(
        ("part.diameter", "drive.roller_diameter"),
        "a part of {0.part.contact} on rollers of {1.drive.roller_diameter}",
        _roller_to_part,
        1e-3,
        0.02,
        20,
        1e3,
        ((20, 1e9, "Centimetres or metres for millimetres?"), (1e-9, 0.02, "Centimetres or metres for millimetres?")),
    ),
    Pair(
        ("part.diameter", "drive.largest_grip"),
        "a part of {0.part.contact} in jaws of up to {1.drive.largest_grip}",
        _part_in_chuck,
        1e-4,
        1e-3,
        5,
        100,
        ((5, 1e9, "Centimetres or metres for millimetres?"),),
    ),
)
