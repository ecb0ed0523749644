"""The stations that are kept, as documents."""

from __future__ import annotations

from firmware_host.model.files.stations import RememberedStation, Stations, gate_table
from firmware_host.reporting.document import Cell, Column, Document, Figure, Notes, Section, Table, Value

_COLUMNS = (
    Column("name", "station"),
    Column("in_use", "in use"),
    Column("machine", "machine"),
    Column("port", "port"),
    Column("baud", "baud", brief=False),
    Column("units", "units"),
    Column("gate", "gate"),
    Column("gate_program", "program", brief=False),
)


def stations_document(stations: Stations) -> Document:
    """A row for each station that is kept."""
    rows = tuple(
        (
            each.name,
            Cell(each.name == stations.in_use, "yes" if each.name == stations.in_use else ""),
            each.machine,
            Cell(each.port, each.port or "the machine's"),
            each.baud,
            each.units,
            Cell(_gate(each), _gate_words(each)),
            each.gate_program,
        )
        for each in stations.by_name.values()
    )
    return Document((Table("", "Stations", _COLUMNS, rows),), as_list=True)


def station_document(station: RememberedStation, *, in_use: bool) -> Document:
    """A station, line by line; one sentence where none is kept (a name that is empty)."""
    if not station.name:
        return Document((Notes(("No station is in use.",)), Figure("name", "station", None)))
    return Document(
        (
            Figure("name", "station", station.name, brief=True),
            Figure("in_use", "in use", in_use, brief=True, text="yes" if in_use else "no"),
            Figure("machine", "machine", station.machine, brief=True),
            Figure("port", "port", station.port, brief=True, text=station.port or "the machine file's"),
            Figure("baud", "baud", station.baud, brief=station.baud is not None),
            Figure("units", "units", station.units, brief=True),
            Figure("gate", "gate", _gate(station), brief=True, text=_gate_words(station)),
            Figure("gate_program", "program", station.gate_program, brief=bool(station.gate_program)),
        )
    )


def _gate(station: RememberedStation) -> Value:
    """The gate's options as its table has them; None where the job's own is used."""
    options = gate_table(station)
    return Section("", "", tuple(Figure(key, key, value) for key, value in options.items())) if options else None


def _gate_words(station: RememberedStation) -> str:
    """The same in words."""
    kind, *others = gate_table(station).items() or (("kind", "the job's"),)
    return ", ".join((str(kind[1]), *(f"{key} {value}" for key, value in others)))
