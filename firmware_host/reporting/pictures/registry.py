"""The pictures there are, in the order in which a reader looks at a job."""

from __future__ import annotations

from firmware_host.errors import InputError
from firmware_host.model.files.problems import nearest_of
from firmware_host.reporting.pictures.budget import Budget
from firmware_host.reporting.pictures.contact import Contact
from firmware_host.reporting.pictures.end_on import EndOn
from firmware_host.reporting.pictures.index_move import IndexMove
from firmware_host.reporting.pictures.margins import Margins
from firmware_host.reporting.pictures.picture import Picture
from firmware_host.reporting.pictures.preview import Preview, WrongNumbers
from firmware_host.reporting.pictures.torque import TorqueSpeed
from firmware_host.reporting.pictures.unrolled import Unrolled

PICTURES: tuple[Picture, ...] = (
    EndOn(),
    Unrolled(),
    Preview(),
    WrongNumbers(),
    Contact(),
    Margins(),
    TorqueSpeed(),
    IndexMove(),
    Budget(),
)


def picture_named(name: str) -> Picture:
    """The picture of that name. Raises `InputError`, naming the nearest."""
    for picture in PICTURES:
        if picture.key == name:
            return picture
    problem = f"there is no picture {name!r}"
    raise InputError(problem, nearest_of(name, [each.key for each in PICTURES]), key="picture")
