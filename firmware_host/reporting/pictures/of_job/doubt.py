"""`doubt`: which uncertain datum decides whether steps are lost or the part slips."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from firmware_host.planning.reliability.chance import CONFIDENCE
from firmware_host.planning.reliability.estimate import Influence
from firmware_host.reporting.measures import listed, percent
from firmware_host.reporting.pictures.picture import Picture, Subject
from firmware_host.reporting.pictures.style import INK, PALE, STEEL, gridded

_TOGETHER = "several together"
_SMALLEST = 0.005
"""Of the doubt: less is told as less than one percent."""


class Doubt(Picture[Subject]):
    """A bar for each uncertain datum: its share of the variance of the smallest margin, in percent, the largest first.

    Shares are first-order correlation ratios; what they leave of the whole is due to data acting together.
    """

    key = "doubt"
    title = "Which uncertain datum matters"
    shows = "how much of the doubt comes from each datum that is not known exactly: measure the longest bar first"
    height = 3.6

    def draw(self, figure: Figure, of: Subject) -> str:
        found = of.doubt
        names = [each.input.name.replace("_", " ") for each in found.influences]
        shares = [max(each.share, 0.0) for each in found.influences]
        together = max(1.0 - sum(shares), 0.0)
        figure.set_size_inches(self.width, 1.5 + 0.3 * (len(shares) + 1))
        axes = figure.subplots()
        places = range(len(shares) + 1)
        bars = axes.barh(places, [100 * each for each in (*shares, together)], color=STEEL, edgecolor=INK, height=0.7)
        bars[-1].set(facecolor=PALE, hatch="//")
        for place, share, told in zip(places, (*shares, together), (*map(_range, found.influences), ""), strict=True):
            axes.text(100 * share + 1, place, f"{_percent(share)}{told}", va="center", size=8)
        axes.set_yticks(places, [*names, _TOGETHER])
        axes.invert_yaxis()
        axes.set_xlim(0, 150)
        axes.set_xticks(range(0, 101, 20))
        axes.set_xlabel("share of the doubt (%), and within what the datum is known")
        gridded(axes, along="x")
        low, high = found.chance.interval
        return (
            f"No step is lost and nothing slips with a probability between {low:.5f} and {high:.5f} "
            f"({percent(CONFIDENCE)} interval, {found.draws} draws). {_told(names, shares, together)}"
        )


def _told(names: Sequence[str], shares: Sequence[float], together: float) -> str:
    """The shares in a sentence, those that hardly count together."""
    pairs = list(zip((*names, _TOGETHER), (*shares, together), strict=True))
    large = [f"{name} {_percent(share)}" for name, share in pairs if share >= _SMALLEST]
    small = [name for name, share in pairs if share < _SMALLEST]
    return f"Shares of the doubt: {listed(large)}{f'; less than 1 % each: {listed(small)}' if small else ''}."


def _percent(share: float) -> str:
    return percent(share) if share >= _SMALLEST else "less than 1 %"


def _range(influence: Influence) -> str:
    factors = influence.input.factors
    return f"; {100 * (factors.lowest - 1):+.3g} to {100 * (factors.highest - 1):+.3g} %"
