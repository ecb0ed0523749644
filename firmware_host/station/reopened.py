"""The station of a run that was stopped or crashed, opened again to resume it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Unpack

from firmware_host.model import Setup
from firmware_host.planning.limits.accept import read_accepted
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.opened import StationOptions, station_in
from firmware_host.station.opening import port_of
from firmware_host.station.passes.station import Station
from firmware_host.station.resume import AskWhetherDone, resume_run
from firmware_host.station.runs.folder import RunFolder, require_own_run
from firmware_host.station.runs.resumable import Resumable
from firmware_host.station.zero import ZeroAt


@dataclass(frozen=True)
class ReopenedStation:
    """A run that did not come to its end, with everything that resuming it works with, open."""

    setup: Setup
    station: Station
    accepted: tuple[str, ...] = ()

    def resume(self, *, finished: AskWhetherDone, zero: ZeroAt | None = None, set_anew: bool = False) -> RunRecord:
        """Resume the run; returns the record. No pass is skipped, and none is repeated without asking.

        `finished(pass)` is asked about each pass that may be half marked: True takes it for done, False marks it again.
        `zero`: "here": somebody has turned the part to the job's zero by hand; "last": the axis must stand where the
        run left it, and is asked to prove it; "home": at the home switch, the default where there is one, "last"
        elsewhere. `set_anew` says "here", too. Raises as `resume_run`.
        """
        zero = "here" if set_anew and zero is None else zero
        return resume_run(self.station, ask=finished, zero=zero, accept_limits=self.accepted)


@contextmanager
def reopen_station(
    run: Path | str,
    port: str = "",
    *,
    accept_limits: Iterable[str] = (),
    **options: Unpack[StationOptions],
) -> Iterator[ReopenedStation]:
    """Open the station of the run in the folder `run` again; all is closed at the end. Nothing moves until `resume`.

    Job and machine are as they were when the run began, and so is the port unless another is named. The rest as in
    `open_station`. What can't be resumed is refused before the port is opened: raises `InputError` for a folder that
    holds no run, for the run of a part of a batch and for one that is done, `RunNotBegunError`, `JournalError` for a
    damaged one, and as `open_controller`.
    """
    accepted = tuple(accept_limits)
    read_accepted(accepted)
    require_own_run(Path(run))
    found = Resumable.read(RunFolder.existing(Path(run)))
    with station_in(
        found.folder,
        found.setup,
        port_of_run(found, port),
        drop_held_motion=True,
        before_opening=lambda made: found.require_same_marking(marks=made.marks),
        **options,
    ) as station:
        yield ReopenedStation(found.setup, station, accepted)


def port_of_run(run: Resumable, port: str) -> str:
    """The port to resume a run at: `port` if given, else the one it began with, else the machine's."""
    return port or run.port or port_of(run.setup.machine, "")
