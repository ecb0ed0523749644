"""The units that people read: as said, else those of the station in use, else metric."""

from __future__ import annotations

from firmware_host.cli.screen import output
from firmware_host.errors import FirmwareHostError
from firmware_host.reporting.measures import Units


def readers_units(said: Units | None) -> Units:
    """The units `said`, else those of the station in use; a file of stations that is not right is told, and no more."""
    if said is not None:
        return said
    from firmware_host.model.files.stations import remembered_station  # for those who say nothing

    try:
        return Units(remembered_station().units)
    except FirmwareHostError as error:
        output.remark(f"warning: {error}. Shown in metric units", style="yellow")
        return Units.METRIC
