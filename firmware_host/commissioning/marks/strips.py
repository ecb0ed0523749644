"""The two strips of a job that test a seam, and the files that hold them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firmware_host.commissioning.marks.comb import Comb, combs, read_to
from firmware_host.commissioning.marks.svg import comb_svg
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.planning.plan import Layout
from firmware_host.system.files import write_whole

_NAMES = ("end-of-segment.svg", "start-of-next.svg")
_USUAL_BAND = 10e-3
"""Width along the axis (m) where the job says none: common practice, no source."""


@dataclass(frozen=True)
class Strips:
    """`spacing` and `read_to` in m; `flat`: the lines are drawn flat, for a marking side that corrects for nothing.

    `texts`: the strip for the end of a segment, and that for the start of the next.
    """

    spacing: float
    read_to: float
    flat: bool
    texts: tuple[str, str]


def seam_strips(setup: Setup, layout: Layout, spacing: float) -> Strips:
    """Strips for the first seam of a job. Raises `InputError` without one, and `FormulaRangeError` as `combs`.

    Where the job does not say that the marking side corrects for the round surface, the strips do.
    """
    arcs = layout.segments.arcs()
    if arcs.size < 2:
        raise InputError("the mark has one segment and no seam", "Mark it in two or more", source=setup.job_source)
    width, flat = setup.job.mark.width, setup.job.window.flat_field_corrected is not True
    band = width.si if width is not None else _USUAL_BAND
    radius = float(layout.segments.diameter) / 2

    def drawn(comb: Comb) -> str:
        return comb_svg(comb, radius=radius, band=band, flat=flat)

    first, second = combs(float(arcs[0]), float(arcs[1]), spacing)
    return Strips(spacing, read_to(spacing), flat, (drawn(first), drawn(second)))


def write_strips(strips: Strips, folder: Path) -> tuple[Path, Path]:
    """Write both into `folder`, which is made; an older one of the same name is replaced. Raises `InputError`."""
    first, second = (folder / name for name in _NAMES)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, text in zip((first, second), strips.texts, strict=True):
            write_whole(path, text)
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "Name another folder", source=str(folder)) from error
    return first, second
