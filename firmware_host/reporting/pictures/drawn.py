"""A picture drawn and written to a file, whole or not at all, the same bytes for the same subject."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from firmware_host.errors import InputError
from firmware_host.reporting.pictures.picture import Picture, SubjectT
from firmware_host.reporting.pictures.style import plain_style
from firmware_host.system.files import write_whole

KINDS: Final = (".svg", ".png", ".pdf")
_DPI = 160
_HARD_EDGED: Final = b"image-rendering:crisp-edges;image-rendering:pixelated"
"""Matplotlib's wish for a raster; a viewer that heeds it leaves columns out where it shows less, a seam with them."""
_NO_DATE: Final = {".svg": {"Date": None}, ".png": {}, ".pdf": {"CreationDate": None}}


@dataclass(frozen=True)
class Drawn:
    """A picture as data: `content` of a file of that `kind`, and the `words` that say what it shows."""

    picture: Picture[Any]
    kind: str
    content: bytes
    words: str


def figure_of(picture: Picture[SubjectT], of: SubjectT) -> tuple[Figure, str]:
    """The picture as a Matplotlib figure, and in words. Raises `InputError` where there is nothing to draw."""
    if missing := picture.missing(of):
        raise InputError(f"nothing to draw: {missing}", "Choose another picture", key="picture")
    with plain_style():
        figure = Figure(figsize=(picture.width, picture.height), layout="constrained")
        FigureCanvasAgg(figure)
        words = picture.draw(figure, of)
        figure.suptitle(picture.title, x=0.01, ha="left", fontsize=12, fontweight="bold")
        _lay_out(figure)
    return figure, words


def _lay_out(figure: Figure) -> None:
    """Make room for all words once: left on, the engine would have the whole picture drawn a second time for that."""
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)
        figure.set_layout_engine(None)


def drawn(picture: Picture[SubjectT], of: SubjectT, kind: str = ".svg") -> Drawn:
    """Draw `picture` as a file of `kind` (of `KINDS`). Raises `InputError` as `figure_of`, and for another kind."""
    if kind not in KINDS:
        problem = f"a picture is not written as {kind or 'a file without an ending'}"
        raise InputError(problem, f"End its name in {', '.join(KINDS[:-1])} or {KINDS[-1]}", key="output")
    figure, words = figure_of(picture, of)
    told = {"Title": f"{picture.title}: {of.name}"}
    if kind == ".svg":
        told["Description"] = words
        _rasters_as_they_are(figure)
    file = io.BytesIO()
    with plain_style():
        figure.savefig(file, format=kind[1:], dpi=_DPI, metadata={**told, **_NO_DATE[kind]})
    return Drawn(picture, kind, file.getvalue().replace(_HARD_EDGED, b""), words)


def _rasters_as_they_are(figure: Figure) -> None:
    """Put rasters into the file point by point, for whoever shows it to scale: smaller, and sooner written."""
    for axes in figure.axes:
        for raster in axes.images:
            raster.set_interpolation("none")


def save_picture(picture: Picture[SubjectT], of: SubjectT, path: Path) -> Drawn:
    """Draw it into the file `path`, by whose ending its kind is told. Raises `InputError`, also where it can't."""
    made = drawn(picture, of, path.suffix.lower())
    try:
        write_whole(path, made.content)
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "See its folder", str(path)) from error
    return made
