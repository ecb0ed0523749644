"""The pictures of a job, in the order in which a reader looks at them."""

from __future__ import annotations

from firmware_host.reporting.pictures.of_job.budget import Budget
from firmware_host.reporting.pictures.of_job.contact import Contact
from firmware_host.reporting.pictures.of_job.doubt import Doubt
from firmware_host.reporting.pictures.of_job.end_on import EndOn
from firmware_host.reporting.pictures.of_job.index_move import IndexMove
from firmware_host.reporting.pictures.of_job.margins import Margins
from firmware_host.reporting.pictures.of_job.preview import Preview, WrongNumbers
from firmware_host.reporting.pictures.of_job.torque import TorqueSpeed
from firmware_host.reporting.pictures.of_job.unrolled import Unrolled
from firmware_host.reporting.pictures.picture import Picture, Subject, one_named

PICTURES: tuple[Picture[Subject], ...] = (
    EndOn(),
    Unrolled(),
    Preview(),
    WrongNumbers(),
    Contact(),
    Margins(),
    TorqueSpeed(),
    IndexMove(),
    Budget(),
    Doubt(),
)


def picture_named(name: str) -> Picture[Subject]:
    """The picture of that name. Raises `InputError`, naming the nearest."""
    return one_named(name, PICTURES)
