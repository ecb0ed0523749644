"""A batch from outside, in one call: the port is opened once for all its parts, and closed at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TypedDict, Unpack

from firmware_host.clock import SystemClock
from firmware_host.model import Setup
from firmware_host.model.files.parts import PartRow, numbered_parts, read_parts
from firmware_host.planning.limits.accept import accepting, read_accepted
from firmware_host.station.batch.batch import ResumableBatch, resume_parts, run_parts
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.loop import BatchWays, WriteSettings
from firmware_host.station.batch.planned import PartPlans
from firmware_host.station.batch.record import BatchRecord
from firmware_host.station.batch.side import AloneSide, BatchSide
from firmware_host.station.opened import StationOptions, station_in
from firmware_host.station.opening import port_of
from firmware_host.station.passes.station import Station
from firmware_host.station.resume import AskWhetherDone
from firmware_host.station.zero import AskZero, ZeroAt

MakeSide = Callable[[Station], BatchSide]


class BatchOptions(TypedDict, total=False):
    """How a batch is done; what is left out is as described for `run_batch`."""

    side: MakeSide
    release_between: bool
    zero: ZeroAt | None
    ask_zero: Callable[[Station], AskZero | None]
    finished: Callable[[Station], AskWhetherDone]
    write_settings: WriteSettings | None


def parts_of(parts: int | Path | str | Sequence[PartRow]) -> tuple[PartRow, ...]:
    """The parts of a batch: so many, those of a table (a CSV file), or rows as they are. Raises `InputError`."""
    if isinstance(parts, int):
        return numbered_parts(parts)
    return read_parts(Path(parts)) if isinstance(parts, str | Path) else tuple(parts)


def run_batch(
    setup: Setup,
    parts: int | Path | str | Sequence[PartRow],
    port: str = "",
    *,
    runs: Path = Path("runs"),
    accept_limits: Iterable[str] = (),
    batch: BatchOptions | None = None,
    created: Callable[[Path], object] = lambda folder: None,
    source: str = "",
    **options: Unpack[StationOptions],
) -> BatchRecord:
    """Run a job on part after part; returns the record of a batch that came to its end.

    `parts`: how many there are, the path of a table (see `read_parts`), or its rows. Each part is planned anew with
    what its row changes, and a limit that fails stops it before it moves. `batch` says who answers between parts
    (`side`, made with the open station; else nobody: every part follows at once and is good), whether the motor is let
    go meanwhile (`release_between`), and where the zero of the first part is, as for `open_station`. `created` is told
    the batch's folder, below `runs`; `source` is what an error names as the place of rows; `options` as for
    `open_station`.

    Raises `InputError` for a table or a row that can't be read, before anything is opened, and as `run_job`. A batch
    that was stopped, or failed, is resumed with `resume_batch`.
    """
    accepted = read_accepted(accept_limits)
    setup = accepting(setup, accept_limits)
    rows = parts_of(parts)
    source = str(parts) if isinstance(parts, str | Path) else source
    PartPlans(setup, accepted, source).require_readable(rows)
    url = port_of(setup.machine, port)
    clock = options.get("clock") or SystemClock()
    folder = BatchFolder.create(runs, setup.job.name, len(rows), clock.now())
    with ExitStack() as stack:
        stack.callback(folder.drop_unused)
        created(folder.path)
        station = stack.enter_context(station_in(folder.kept, setup, url, **options))
        return run_parts(setup, rows, station, folder, ways_of(batch or {}, station, accepted))


def resume_batch(
    folder: Path | str,
    port: str = "",
    *,
    finished: AskWhetherDone | None = None,
    accept_limits: Iterable[str] = (),
    batch: BatchOptions | None = None,
    **options: Unpack[StationOptions],
) -> BatchRecord:
    """Resume the batch in `folder` at the right part, segment and pass; returns the record once it is done.

    `finished(pass)` is asked about each pass that may be half marked: True takes it for done. Job, machine and parts
    are as they were when the batch began, and so is the port unless another is named. Raises as `run_batch`, and
    `InputError` for a batch that is done, `JournalError` for a damaged one.
    """
    accepted = read_accepted(accept_limits)
    found = ResumableBatch.read(BatchFolder.existing(Path(folder)))
    url = port or found.begin.port or port_of(found.setup.machine, "")
    with station_in(found.folder.kept, found.setup, url, drop_held_motion=True, **options) as station:
        return resume_parts(found, station, ways_of(batch or {}, station, accepted, finished))


def ways_of(
    batch: BatchOptions, station: Station, accepted: dict[str, str], finished: AskWhetherDone | None = None
) -> BatchWays:
    """How a batch is done on a station that is open."""
    side, ask_zero, asked = batch.get("side"), batch.get("ask_zero"), batch.get("finished")
    return BatchWays(
        side=side(station) if side is not None else AloneSide(),
        ask=asked(station) if asked is not None else finished,
        release=batch.get("release_between", False),
        zero=batch.get("zero"),
        ask_zero=ask_zero(station) if ask_zero is not None else None,
        write_settings=batch.get("write_settings"),
        accepted=accepted,
    )
