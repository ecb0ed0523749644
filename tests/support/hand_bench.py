"""A hand on the bench: at the boards of both dialects, in virtual time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from firmware_host.model import Setup
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.marking import MarkingSide
from firmware_host.station.hand.opened import hand_at
from firmware_host.station.hand.paces import Paces
from firmware_host.station.settings.write import kept_machine
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import StationBench

MakeBench = Callable[..., StationBench]


def _numbered(path: Path, setup: Setup | str, **options: Any) -> StationBench:
    return NumberedBench(path, setup, NUMBERED_LINE_BOARDS["plain"], **options)


BENCHES: dict[str, MakeBench] = {"status-query": StationBench, "numbered-line": _numbered}


@contextmanager
def hand_on(
    bench: StationBench,
    plan: HandPlan | None = None,
    marking: MarkingSide | None = None,
    *,
    unlock: bool = False,
    backup: Path | None = None,
) -> Iterator[Hand]:
    """Open the board and a hand on it; whatever ends the block stops the axis if it is under way.

    `marking`: the job's own gate may be opened, and the bench's operator stands there; `unlock`: as `open_hand`.
    `backup`: where the settings are kept before a single move gets an acceleration of its own; None: none may.
    """
    controller = bench.open()
    try:
        station = bench.station(controller)  # notes the scale as written by us
        with ExitStack() as stack:
            made = plan or hand_on_job(bench.setup)
            paces = None
            if backup is not None:
                machine = kept_machine(made.machine, "", None)
                paces = Paces(controller, made, station.scales, backup, announce=lambda kept: None, machine=machine)
                stack.callback(paces.put_back)
            scales, stop, operator = station.scales, bench.stop, bench.operator
            options: Any = {"unlock": unlock, "paces": paces}
            hand = hand_at(stack, made, controller, bench.clock, scales, stop, operator, marking, **options)
            try:
                yield hand
            except BaseException as error:
                hand.stop(error)
                raise
    finally:
        controller.close()
