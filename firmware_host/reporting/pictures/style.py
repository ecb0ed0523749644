"""The one plain style of all pictures: things are told apart by line and hatching as well as by colour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final

import matplotlib as mpl
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

INK: Final = "#22303c"
"""Outlines, text and axes."""
STEEL: Final = "#2f6c8c"
"""What is there: the part, a curve, what is planned."""
COPPER: Final = "#b0551c"
"""What is looked at: the segment, what is needed, what is too much."""
OLIVE: Final = "#6a7a2c"
"""What is allowed."""
PALE: Final = "#e4ded2"
"""What stands behind."""
GRID: Final = "#d8d4ca"

_MOST_NAMED = 40
_SETTINGS: Final[Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titlelocation": "left",
    "axes.titleweight": "bold",
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.5,
    "lines.linewidth": 1.6,
    "legend.frameon": False,
    "legend.fontsize": 8.0,
    "figure.dpi": 110.0,
    "savefig.facecolor": "white",
    "svg.fonttype": "path",
    "svg.hashsalt": "circumstep",
    "pdf.fonttype": 42,
}


@contextmanager
def plain_style() -> Iterator[None]:
    """Inside, figures are made and saved in our style, whatever the reader's own settings are."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        yield


def legend_below(figure: Figure, *axes: Axes, columns: int = 4) -> None:
    """One legend for all of `axes`, below them; a name that comes twice is told once."""
    named: dict[str, Artist] = {}
    for each in axes:
        for handle, label in zip(*each.get_legend_handles_labels(), strict=True):
            named.setdefault(label, handle)
    figure.legend(list(named.values()), list(named), loc="outside lower center", ncols=columns)


def gridded(axes: Axes, *, along: str = "both") -> None:
    """A quiet grid behind what is drawn."""
    axes.grid(visible=True, axis=along)  # type: ignore[arg-type]


def numbered(axes: Axes, segments: Sequence[int]) -> None:
    """The axis below counts standstills from 1, each named by its segment as far as there is room."""
    axes.set_xlim(0.4, len(segments) + 0.6)
    if len(segments) <= _MOST_NAMED:
        axes.set_xticks(range(1, len(segments) + 1), [str(each) for each in segments])
        axes.set_xlabel("segment, in the order in which it was turned to")
        return
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel("standstill, in order")
