"""The pictures of a run, in the order in which a reader looks at them."""

from __future__ import annotations

from firmware_host.reporting.pictures.of_run.steps import Steps
from firmware_host.reporting.pictures.of_run.subject import RunSubject
from firmware_host.reporting.pictures.of_run.timing import Timing
from firmware_host.reporting.pictures.picture import Picture, one_named

RUN_PICTURES: tuple[Picture[RunSubject], ...] = (Steps(), Timing())


def run_picture_named(name: str) -> Picture[RunSubject]:
    """The picture of that name. Raises `InputError`, naming the nearest."""
    return one_named(name, RUN_PICTURES)
