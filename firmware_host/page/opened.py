"""The station page of a run: opened before the run, told how it ended, and closed with it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from firmware_host.clock import SystemClock
from firmware_host.errors import FirmwareHostError, RunStoppedError, StoppedError
from firmware_host.page.desk import Desk, Over
from firmware_host.page.run_side import PageOperator, PageOutlet, PageProgress
from firmware_host.page.server import PageServer
from firmware_host.station.operator import Operator
from firmware_host.station.passes.control import RunControl
from firmware_host.station.progress import Progress
from firmware_host.station.state.outlet import Outlet

ToDo = Callable[[FirmwareHostError], list[str]]
"""What can be done about an error, a line each."""


@dataclass(frozen=True)
class StationPage:
    """A page that is served: its address, and what a run has to work with for it."""

    url: str
    operator: Operator
    progress: Progress
    outlet: Outlet


@contextmanager
def station_page(
    control: RunControl, operator: Operator, progress: Progress, port: int = 0, todo: ToDo = lambda error: []
) -> Iterator[StationPage]:
    """Serve the page of a run at `port` of this computer (0: any free one) as long as the block lasts.

    The run works with `operator` and `progress` of what is yielded, which pass everything on to these; its buttons are
    wishes of `control`. `todo`: what the page says about an error that ends the run. Raises `InputError` where the port
    is taken.
    """
    desk = Desk(control, SystemClock())
    server = PageServer(desk, port)
    try:
        yield StationPage(
            server.url,
            PageOperator(operator, desk),
            PageProgress(progress, desk),
            PageOutlet(desk, f"http://127.0.0.1:{server.port}/"),
        )
    except BaseException as error:
        desk.over = _ended(error, todo)
        raise
    else:
        desk.over = Over(
            "done", "Every pass that was asked for is done.", ("Support the part before you take it out.",)
        )
    finally:
        server.close()


def _ended(error: BaseException, todo: ToDo) -> Over:
    text = str(error) or type(error).__name__
    stopped = isinstance(error, RunStoppedError | StoppedError | KeyboardInterrupt)
    lines = tuple(todo(error)) if isinstance(error, FirmwareHostError) else ()
    return Over("stopped" if stopped else "failed", text, lines)
