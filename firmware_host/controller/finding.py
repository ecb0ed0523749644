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
from firmware_host.controller.port.framing import LineFramer
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.registry import dialect_names, load_dialect
from firmware_host.controller.reply import Greeting, StatusReport
from firmware_host.errors import ControllerError, LinkError

EARLY_S = 0.5
"""So long after opening, boards that may be asked while they start are asked (s): most have greeted by then."""
LISTEN_S = 3.0
"""How long to wait for a greeting (s): boards take 1 to 2 s after they are reset. Common practice, no source."""
ANSWER_S = 0.5
"""How long to wait for the answer to a status request (s)."""
_ANY_AXIS = "X"
_SHOWN_BYTES = 80


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
    finding = _hear(port, clock, EARLY_S, dialects, heard)
    if finding is None:
        for dialect in dialects:
            if dialect.probes_early:
                port.write(dialect.probe())
        finding = _hear(port, clock, LISTEN_S - EARLY_S, dialects, heard)
    for dialect in dialects:
        if finding is None:
            port.write(dialect.probe())
            finding = _hear(port, clock, ANSWER_S, (dialect,), heard)
    if finding is not None:
        return finding
    detail = f"answers, but not in a known dialect: {heard[0]!r}" if heard else "silent"
    return Finding(port.url, None, f"{detail}. Check its speed (baud)")


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


def _hear(
    port: Port, clock: Clock, duration_s: float, dialects: tuple[Dialect, ...], heard: list[bytes]
) -> Finding | None:
    """The first greeting or report that one of `dialects` understands within `duration_s` (s)."""
    framer = LineFramer()
    deadline_s = clock.monotonic() + duration_s
    while (left_s := deadline_s - clock.monotonic()) > 0:
        for line in framer.feed(port.read(left_s)):
            if not heard:
                heard.append(line[:_SHOWN_BYTES])
            for dialect in dialects:
                reply = dialect.parse(line)
                if isinstance(reply, Greeting):
                    return Finding(port.url, dialect.name, reply.text)
                if isinstance(reply, StatusReport):
                    return Finding(port.url, dialect.name, f"did not greet; is {reply.state.value}")
                if dialect.is_own(reply):
                    return Finding(port.url, dialect.name, "did not greet; answers")
    return None
