"""Where the zero of a batch's next part is: kept by a chuck with its motor held, at the home switch, or set by hand."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.errors import FirmwareHostError
from firmware_host.model import Setup
from firmware_host.planning.steps import round_half_even
from firmware_host.station.batch.events import PartZero
from firmware_host.station.batch.folder import BatchFolder, has_begun
from firmware_host.station.batch.state import BatchState, PartState
from firmware_host.station.hand_note import since_a_hand
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.replay import replay
from firmware_host.station.passes.station import Station
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.zero import Start, ZeroAt, found_as_left


@dataclass(frozen=True)
class NextZero:
    """Where the zero of the next part is. `start`: what its run is told; `because`: why it is set by hand.

    `base_steps`, `turns`: see `PartBegin`. `unproved`: it should have been kept, and could not be proved.
    """

    zero: PartZero
    start: Start | ZeroAt | None
    because: str = ""
    base_steps: int | None = None
    turns: int = 0
    unproved: bool = False


def next_zero(
    setup: Setup, station: Station, folder: BatchFolder, state: BatchState, *, said: ZeroAt | None, opened: bool
) -> NextZero:
    """Where the zero of the next part is; looks, and moves nothing.

    `said`: as somebody has said it, for the first part or when the batch is resumed; `opened`: the controller is open
    since before the last run of the batch, so that a reset would have been heard.
    """
    before = next((part for part in reversed(state.parts) if _last_begun(folder, part) is not None), None)
    if before is None:
        at_home = said == "home" or (said is None and setup.machine.axis.home_switch)
        return NextZero(PartZero.HOME if at_home else PartZero.FIRST, said)
    if before.zero is PartZero.HOME:
        return NextZero(PartZero.HOME, "home")
    if said == "here":
        return by_hand("it was said when the batch was resumed")
    if setup.machine.drive.cradle is not None:
        return by_hand("rollers do not hold a part where the one before it was")
    if state.released:
        return by_hand("the motor was released to change the part")
    return _kept(setup, station, folder, before, opened=opened)


def by_hand(because: str, *, unproved: bool = False) -> NextZero:
    """The zero is where somebody has turned the part."""
    return NextZero(PartZero.BY_HAND, "here", because, unproved=unproved)


def same_zero(setup: Setup, station: Station, folder: BatchFolder, part: PartState, *, opened: bool) -> NextZero:
    """The zero of a part that is still clamped, to mark some of it again; looks, and moves nothing."""
    if part.zero is PartZero.HOME:
        return NextZero(PartZero.HOME, "home")
    return _left_by(setup, station, _last_begun(folder, part), opened=opened)


def _kept(setup: Setup, station: Station, folder: BatchFolder, before: PartState, *, opened: bool) -> NextZero:
    """The zero of the part before; with whole turns of the part behind it where the axis was turned by them.

    Those are counted from the first zero of the row, so that what a turn has of a microstep never adds up.
    """
    found = _left_by(setup, station, _last_begun(folder, before), opened=opened)
    if not isinstance(found.start, Start) or found.start.origin is None:
        return found
    origin, at = found.start.origin, found.start.at
    per_turn = setup.machine.microsteps_per_part_turn(setup.job.part.contact)
    base, turns = before.base_steps, before.turns
    if base is None or base + round_half_even(turns * per_turn) != origin:
        base, turns = origin, 0  # a new row begins, also where somebody has set the zero anew when it was resumed
    if setup.job.index.finish == "next-turn":
        turns += round(at / per_turn)
    now = base + round_half_even(turns * per_turn)
    return NextZero(PartZero.KEPT, Start(origin=now, at=origin + at - now), base_steps=base, turns=turns)


def _last_begun(folder: BatchFolder, part: PartState) -> RunFolder | None:
    """The folder of the last run of a part that has begun; None if none has."""
    runs = (folder.run(name) for name in reversed(part.runs))
    return next(filter(has_begun, runs), None)


def _left_by(setup: Setup, station: Station, run: RunFolder | None, *, opened: bool) -> NextZero:
    """A run's zero, once the controller's count proves that the axis stands where the run left it."""
    try:
        left = replay(journal_events(run.journal)).left if run is not None else None
    except FirmwareHostError as error:
        return by_hand(f"the run before cannot be read ({error})", unproved=True)
    if left is None or left.origin is None:
        return by_hand("no run before has set a zero", unproved=True)
    kept = station.scales.hand(station.controller.url, setup.machine.axis.letter)
    stands = since_a_hand(left, kept, setup.machine, same_part=True)
    found = found_as_left(station.controller, setup.machine.axis, stands, left.origin, opened=opened)
    if found.unproved:
        return by_hand(found.unproved, unproved=True)
    return NextZero(PartZero.KEPT, Start(origin=left.origin, at=found.at, turns=left.turns))
