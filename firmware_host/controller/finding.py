"""Finding controllers: which ports there are, in which dialect something answers there, and what it says of itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from serial.tools import list_ports

from firmware_host.clock import Clock
from firmware_host.controller.axis import Connection
from firmware_host.controller.controller import Description
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.mechanisms import controller_for
from firmware_host.controller.port.hearing import hear, is_noise
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.registry import ANSWER_S, dialect_names, load_dialect, understanding
from firmware_host.errors import ControllerError, LinkError

EARLY_S = 0.5
"""So long after opening, boards that may be asked while they start are asked (s): most have greeted by then."""
LISTEN_S = 3.0
"""How long to wait for a greeting (s): boards take 1 to 2 s after they are reset. Common practice, no source."""
_ANY_AXIS = "X"


@dataclass(frozen=True)
class SerialDevice:
    """A serial port of this computer, as the operating system describes it."""

    url: str
    description: str


@dataclass(frozen=True)
class Finding:
    """What is known of one port. `dialect` is None if nothing answered; `detail` says why, or what was heard.

    `description` is what the controller tells of itself; None if it couldn't be asked.
    """

    url: str
    dialect: str | None
    detail: str
    description: Description | None = None
    noise: bool = False
    """Whether what came is no text: it sends at another speed."""
    baud: int | None = None
    """The line speed that it was asked at, bits per second, where that was tried out."""


def list_devices() -> tuple[SerialDevice, ...]:
    """All serial ports of this computer, sorted by name. Opens none."""
    return tuple(SerialDevice(info.device, info.description or "") for info in sorted(list_ports.comports()))


def find(
    urls: Iterable[str],
    clock: Clock,
    *,
    open_url: Callable[[str], Port],
    confirm: Callable[[str], bool],
    dialects: Iterable[Dialect] | None = None,
) -> tuple[Finding, ...]:
    """Ask at each of `urls` who is there: one Finding each, in order.

    Opening a port resets many boards, so `confirm(url)` is asked before each and a False leaves the port alone. Only
    questions are sent, none of which moves or sets anything or lets a half line left behind be carried out.
    `open_url` opens a port, such as `serial_port.open_port`
    with its baud rate and clock. A port that is busy, gone or silent is a Finding, not an error.
    """
    known = tuple(dialects) if dialects is not None else tuple(load_dialect(name) for name in dialect_names())
    return tuple(_find_one(url, clock, open_url, confirm, known) for url in urls)


def _find_one(
    url: str,
    clock: Clock,
    open_url: Callable[[str], Port],
    confirm: Callable[[str], bool],
    dialects: tuple[Dialect, ...],
) -> Finding:
    if not confirm(url):
        return Finding(url, None, "left alone: opening it may reset what is connected")
    try:
        port = open_url(url)
    except LinkError as error:
        return Finding(url, None, str(error))
    try:
        return _described(_identify(port, clock, dialects), port, clock, dialects)
    except LinkError as error:
        return Finding(url, None, str(error))
    finally:
        port.close()


def _identify(port: Port, clock: Clock, dialects: tuple[Dialect, ...]) -> Finding:
    heard: list[bytes] = []
    found = hear(port, clock, EARLY_S, understanding(dialects), heard)
    if found is None:
        for dialect in dialects:
            if dialect.probes_early:
                port.write(dialect.probe())
        found = hear(port, clock, LISTEN_S - EARLY_S, understanding(dialects), heard)
    for dialect in dialects:
        if found is None:
            port.write(dialect.probe())
            found = hear(port, clock, ANSWER_S, understanding((dialect,)), heard)
    if found is not None:
        return Finding(port.url, found.dialect, found.said)
    noise = is_noise(b"".join(heard))
    what = "what comes is no text" if noise else f"answers, but not in a known dialect: {heard[0]!r}" if heard else ""
    return Finding(port.url, None, f"{what or 'silent'}. Check its speed (baud)", noise=noise)


def _described(finding: Finding, port: Port, clock: Clock, dialects: tuple[Dialect, ...]) -> Finding:
    """The finding with what the controller tells of itself."""
    spoken = [dialect for dialect in dialects if dialect.name == finding.dialect]
    if not spoken:
        return finding
    try:
        controller = controller_for(spoken[0], Connection(port, clock, MemoryTrace(clock)), _ANY_AXIS)
        return replace(finding, description=controller.describe())
    except (LinkError, ControllerError) as error:
        return replace(finding, detail=f"{finding.detail}; could not be asked further: {error}")
