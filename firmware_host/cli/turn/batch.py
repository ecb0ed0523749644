"""`run JOB --parts` and `resume` of a batch: part after part, on one open port."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.screen import documents, output
from firmware_host.cli.turn.shared import asking_zero, run_at, write_and_tell
from firmware_host.errors import FirmwareHostError, InputError
from firmware_host.model import Setup
from firmware_host.model.files.at_station import JobAtStation
from firmware_host.model.files.parts import PartRow
from firmware_host.reporting.runs.batch import batch_document, counted
from firmware_host.station.batch.batch import ResumableBatch
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.listing import listed_batch
from firmware_host.station.batch.opened import BatchOptions, MakeSide, parts_of, resume_batch, run_batch
from firmware_host.station.batch.person import PausedSide, PersonSide
from firmware_host.station.batch.planned import PlannedPart
from firmware_host.station.opened import OpenStation, StationOptions
from firmware_host.station.passes.station import Station
from firmware_host.station.resume import AskWhetherDone
from firmware_host.station.runs.folder import is_batch
from firmware_host.station.zero import ZeroAt
from firmware_host.units import parse_quantity

PartsOption = Annotated[
    str,
    typer.Option(
        "--parts",
        metavar="COUNT|TABLE",
        help="A batch: so many parts, or a row of this CSV file for each (serial, diameter, text, keys of the job).",
    ),
]
NextAfterOption = Annotated[
    str,
    typer.Option(
        "--next-after",
        metavar="TIME",
        help='In a batch: each part follows BY ITSELF after this pause ("20 s"). Without it, each waits for a key.',
    ),
]
BetweenOption = Annotated[
    bool,
    typer.Option(
        "--release-between",
        help="In a batch: let go of the motor while the part is changed. Each part is then turned to its zero by hand.",
    ),
]


def parts_named(text: str) -> tuple[PartRow, ...]:
    """The parts of a batch: a number of them, or those of a table. Raises `InputError`."""
    return parts_of(int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else text)


def require_whole(only: str, first: int | None) -> None:
    """Raise `InputError` where some segments alone are asked for: a batch marks every part whole."""
    if only or first is not None:
        remedy = "Leave it out; some segments of a part are marked again where it is asked what became of it"
        raise InputError("a batch marks every segment of a part", remedy, key="--only" if only else "--from")


def side_of(next_after: str) -> MakeSide:
    """Who answers between the parts: the person at the terminal, or, after a pause, nobody."""
    if not next_after:
        return lambda station: PersonSide(station.operator)
    try:
        pause_s = parse_quantity(next_after, "time", "non-negative").si
    except ValueError as error:
        remedy = 'Write it with its unit, like "20 s"'
        raise InputError(f"{next_after!r} is no time", remedy, key="--next-after") from error
    return lambda station: PausedSide(station.operator, station.clock, pause_s)


def run_parts(
    setup: Setup,
    parts: str,
    url: str,
    *,
    runs: Path,
    zero: ZeroAt | None,
    next_after: str,
    release_between: bool,
    write_settings: bool,
    accepted: tuple[str, ...],
    json: bool,
    options: StationOptions,
) -> None:
    """Run a batch and print its record."""
    rows, side = parts_named(parts), side_of(next_after)
    batch: BatchOptions = {
        "side": side,
        "release_between": release_between,
        "zero": zero,
        "ask_zero": asking_zero,
        "write_settings": _writing if write_settings else None,
    }
    made: list[Path] = []
    source = "" if parts.isdecimal() else parts
    with _showing_batch(lambda: made[0] if made else None, json=json):
        run_batch(
            setup,
            rows,
            url,
            runs=runs,
            accept_limits=accepted,
            batch=batch,
            created=made.append,
            source=source,
            **options,
        )
    _show(made[0], json=json)


def resume_parts(
    folder: Path,
    port: str,
    *,
    zero: ZeroAt | None,
    next_after: str,
    finished: Callable[[Station], AskWhetherDone],
    accepted: tuple[str, ...],
    json: bool,
    options: StationOptions,
) -> None:
    """Resume a batch and print its record."""
    batch: BatchOptions = {
        "side": side_of(next_after),
        "zero": zero,
        "ask_zero": asking_zero,
        "finished": finished,
        "write_settings": _writing,
    }
    with _showing_batch(lambda: folder, json=json):
        resume_batch(folder, port, accept_limits=accepted, batch=batch, **options)
    _show(folder, json=json)


def _writing(part: PlannedPart, station: Station) -> None:
    """Write the settings that a part's plan needs, and say so."""
    opened, controller = OpenStation(part.setup, part.plan, station), station.controller
    if not opened.settings_differences() and station.scales.recall(controller.url, controller.settings) is not None:
        return  # they fit this part as they are
    write_and_tell(opened)


@contextmanager
def _showing_batch(folder: Callable[[], Path | None], *, json: bool) -> Iterator[None]:
    """When an error ends a batch, say how many parts are good and how many left; the error says how to resume it."""
    try:
        yield
    except FirmwareHostError as error:
        path = folder()
        found = listed_batch(path) if path is not None and is_batch(path) else None
        if found is not None and found.record is not None:
            if json:
                documents.show(batch_document(found), json=True)
            output.remark(counted(found.record))
            error.acts = error.acts or found.acts
        raise


def _show(folder: Path, *, json: bool) -> None:
    documents.show(batch_document(listed_batch(folder)), json=json)
    if not json:
        output.lines([f"Record: {BatchFolder(folder).record}", f"Times: {BatchFolder(folder).times}"])


def batch_at(
    folder: Path, *, station: str, port: str, baud: int | None, program: list[str] | None, gate_program: str
) -> JobAtStation:
    """Port, line speed and gate's program for resuming a batch: as named, else the station's, else as it began."""
    found = ResumableBatch.read(BatchFolder.existing(folder))
    asked = port if station else port or found.begin.port
    here, _ = run_at(found.setup, program, gate_program, station=station, port=asked, baud=baud, own_gate=True)
    return here
