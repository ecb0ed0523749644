"""What controllers tell of themselves, as documents: where one is, its state, and its settings beside the plan's."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from firmware_host.acts import Act, Unlock
from firmware_host.controller.finding import Finding
from firmware_host.controller.learned import Learned
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.stored_settings import ControllerSettings, Difference, StoredNumber
from firmware_host.reporting.document import Advice, Cell, Column, Document, Figure, Notes, Row, Section, Table, Value
from firmware_host.reporting.machines.learned import learned_section, to_settle
from firmware_host.station.settings.compared import Comparison, LookedAt

_FITS = {
    LookedAt.BOTH: "all settings fit the job",
    LookedAt.IN_FORCE: "all settings in force fit the job",
    LookedAt.STORED: "all stored settings fit the job",
}
_LOOKED_AT = {
    LookedAt.BOTH: "compared: what is in force and stored",
    LookedAt.IN_FORCE: "compared: what is in force; the controller does not list what is stored",
    LookedAt.STORED: "compared: what is stored; what is in force is not known. A run loads what is stored first",
}
_NOT_TOLD = "not told"
_FOUND_COLUMNS = (
    Column("port", "port"),
    Column("dialect", "dialect"),
    Column("detail", "what is there"),
    Column("baud", "line speed", "bit/s"),
    Column("axes", "axes"),
    Column("receive_bytes", "receive buffer", "bytes"),
    Column("planner_blocks", "planned ahead", "moves"),
    Column("settings", "settings", below=True),
)
_DIFFERENCE_COLUMNS = (
    Column("name", "setting"),
    Column("key", "key"),
    Column("held", "stored"),
    Column("wanted", "wanted"),
    Column("needed", "for this job"),
)


def found_document(findings: Iterable[Finding]) -> Document:
    """What was found; the details are a row for each port, null for what its controller doesn't tell."""
    found = tuple(findings)
    speaking = tuple(each for each in found if each.description is not None)
    lines = tuple(f"A controller stands at {each.url}. It speaks {each.dialect}{_speed(each)}." for each in speaking)
    none = f"No controller at {len(found)} port{'s' if len(found) > 1 else ''} that answers." if found else "No port."
    silent = tuple(f"{each.url}: {each.detail}{_speed(each)}." for each in found if each.description is None)
    table = Table("", "Ports looked at", _FOUND_COLUMNS, tuple(map(_found, found)))
    return Document((table,), as_list=True, first=(Notes((*(lines or (none,)), *silent)),))


def _speed(found: Finding) -> str:
    """The line speed, where it had to be tried out, and where that is written."""
    if found.baud is None:
        return ""
    return f" at {found.baud} bit/s: set link.baud = {found.baud} in the machine file, or say --baud {found.baud}"


@dataclass(frozen=True)
class Lock:
    """A controller that is locked: with what it is unlocked, and whether it locks at each start, as homing is on."""

    unlock: Unlock
    homing: bool

    @classmethod
    def of(cls, state: AxisState, settings: ControllerSettings, *, port: str, machine: str) -> Lock | None:
        """None where it isn't locked. `machine`: the file or profile that the machine was read from."""
        return cls(Unlock(port, machine), settings.homing is True) if state is AxisState.LOCKED else None

    @property
    def text(self) -> str:
        """What it means, for people."""
        why = ". It locks at every start while homing is on" if self.homing else ""
        return f"The controller is locked: it refuses moves until it is unlocked or homed{why}."

    @property
    def nodes(self) -> tuple[Notes, Advice]:
        """The same as part of a document, with the command."""
        return Notes((self.text,)), Advice((self.unlock,))


def _lock_nodes(lock: Lock | None) -> tuple[Notes | Advice, ...]:
    return () if lock is None else lock.nodes


def controller_document(
    port: str,
    greeting: str | None,
    status: StatusReport,
    settings: ControllerSettings,
    *,
    messages: Sequence[str] = (),
    strays: Sequence[bytes] = (),
    learned: Learned | None = None,
    lock: Lock | None = None,
) -> Document:
    """A controller's state and position, the settings of its axis as it prints them, and what else it said.

    `messages`: what it said unasked; `strays`: bytes that fitted no reply; `learned`: what is known of the board.
    A `lock` is told first of all.
    """
    known = () if learned is None else (to_settle(learned),)
    position = None if settings.inches else tuple(status.machine or ())
    return Document(
        (
            *_lock_nodes(lock),
            *known,
            _told("port", "Port", port),
            _told("greeting", "Greeting", greeting, "none heard"),
            _told("state", "State", status.state.value),
            _told("axis", "Axis", settings.axis),
            *_printed_settings(settings),
            _told(
                "released_at_rest_after_ms",
                "Released at a standstill after, ms",
                settings.release_delay_ms,
                "never, or not told",
            ),
            _told("position_units", "Position, units", position),
            _told("messages", "Messages", "; ".join(messages) or None, "none"),
            _told(
                "bytes_not_understood", "Bytes not understood", " ".join(repr(d)[1:] for d in strays) or None, "none"
            ),
            *(() if learned is None else (learned_section(learned),)),
        )
    )


def _printed_settings(settings: ControllerSettings) -> tuple[Figure, ...]:
    """Numbers as printed; one that only the machine's file states is no news of the controller, and not told."""
    read: tuple[tuple[str, str, str, Callable[[], StoredNumber]], ...] = (
        ("steps_per_unit", "Steps per unit", "steps per unit", lambda: settings.steps_per_unit),
        ("rate_units_per_min", "Rate, units/min", "rate", lambda: settings.rate_units_per_min),
        (
            "acceleration_units_per_s2",
            "Acceleration, units/s^2",
            "acceleration",
            lambda: settings.acceleration_units_per_s2,
        ),
    )
    return tuple(
        _told(key, label, None if name in settings.unreadable else number().text) for key, label, name, number in read
    )


def fitting_text(looked_at: LookedAt) -> str:
    """That nothing differs, of what was looked at and no more."""
    return _FITS[looked_at]


def settings_document(compared: Comparison, fix: Act, lock: Lock | None = None) -> Document:
    """The settings that don't fit the job, with what to do about them, and what would be written with them.

    A `lock` is told first of all.
    """
    needed, rest = compared.needed, compared.further
    rows = (*(_difference(each, needed=True) for each in needed), *(_difference(each, needed=False) for each in rest))
    notes = (f"{each.name} ({each.key}): {each.note}" for each in (*needed, *rest) if each.note)
    return Document(
        (
            *_lock_nodes(lock),
            Notes((() if needed else (_FITS[compared.looked_at],)) + (_LOOKED_AT[compared.looked_at],)),
            Table("", "Settings", _DIFFERENCE_COLUMNS, rows),
            Notes(tuple(notes)),
            Advice((fix,) if needed else ()),
        ),
        as_list=True,
    )


def _found(finding: Finding) -> Row:
    told = finding.description
    if told is None:
        return (finding.url, finding.dialect, finding.detail, finding.baud, None, None, None, None)
    axes = Cell(told.axes, told.axes or _NOT_TOLD)
    sizes = map(_or_not_told, (told.receive_bytes, told.planner_blocks))
    return (finding.url, finding.dialect, finding.detail, finding.baud, axes, *sizes, _settings(told.settings))


def _or_not_told(value: Value) -> Value | Cell:
    return Cell(None, _NOT_TOLD) if value is None else value


def _settings(settings: Mapping[str, str]) -> Cell:
    section = Section("", "", tuple(Figure(key, key, text) for key, text in settings.items()))
    return Cell(section, ", ".join(f"{key} = {text}" for key, text in settings.items()) or _NOT_TOLD)


def _told(key: str, label: str, value: Value, missing: str = _NOT_TOLD) -> Figure:
    return Figure(key, label, value, brief=True, text=missing if value is None else "")


def _difference(each: Difference, *, needed: bool) -> Row:
    return (
        each.name,
        each.key,
        each.stored,
        each.wanted,
        Cell(needed, "needed" if needed else "written with the rest"),
    )
