"""The shipped jobs as subjects of pictures, and the artists of a picture by their label."""

from __future__ import annotations

from functools import cache
from typing import Any

from matplotlib.figure import Figure

from firmware_host.reporting.pictures.drawn import figure_of
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import picture_named
from tests.reporting.shown import shipped


@cache
def subject(job: str) -> Subject:
    setup, plan = shipped(job)
    return Subject.of(setup, plan)


@cache
def figure(picture: str, job: str) -> Figure:
    return figure_of(picture_named(picture), subject(job))[0]


def labelled(drawing: Figure, label: str, place: int = 0) -> Any:
    """The artist of that label in the axes at `place`."""
    artists = [each for each in drawing.axes[place].get_children() if each.get_label() == label]
    assert len(artists) == 1, (label, artists)
    return artists[0]


def texts(drawing: Figure) -> list[str]:
    return [each.get_text() for axes in drawing.axes for each in axes.texts]
