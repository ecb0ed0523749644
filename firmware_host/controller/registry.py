"""Dialects by name, and which of them is spoken at a port.

A dialect is found through the entry points `firmware_host.dialects` and loaded when asked for.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable
from importlib.metadata import EntryPoint, entry_points

from firmware_host.clock import Clock
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.port.hearing import Heard, hear, is_noise
from firmware_host.controller.port.port import Port
from firmware_host.controller.reply import Greeting, StatusReport
from firmware_host.errors import InputError

ANSWER_S = 0.5
"""How long to wait for the answer to a status request (s)."""
GROUP = "firmware_host.dialects"
_OWN = (
    EntryPoint("numbered-line", "firmware_host.controller.numbered_line.dialect:NumberedLineDialect", GROUP),
    EntryPoint("status-query", "firmware_host.controller.status_query.dialect:StatusQueryDialect", GROUP),
)
"""This package's own, so that a plain source tree works too; a plug-in can't take such a name."""


def dialect_names() -> tuple[str, ...]:
    """The names of all dialects at hand, sorted; loads none."""
    return tuple(sorted(_entries()))


def require_dialect(name: str, *, source: str = "", key: str = "link.dialect") -> None:
    """Raise InputError, which names all dialects at hand, unless `name` is one. `source` and `key`: where it stands."""
    entries = _entries()
    if name not in entries:
        near = difflib.get_close_matches(name, entries, n=1)
        hint = f"Did you mean {near[0]!r}? " if near else ""
        raise InputError(
            f"unknown dialect {name!r}", f"{hint}Known: {', '.join(sorted(entries))}", source=source, key=key
        )


def load_dialect(name: str) -> Dialect:
    """The dialect called `name`. Raises InputError for an unknown name and for an entry that isn't a dialect."""
    require_dialect(name, key="dialect")
    entries = _entries()
    kind = entries[name].load()
    if not (isinstance(kind, type) and issubclass(kind, Dialect)):
        raise InputError(f"dialect {name!r} at {entries[name].value} is not a Dialect", "Repair its entry point")
    return kind()


def understanding(dialects: Iterable[Dialect]) -> Callable[[bytes], Heard | None]:
    """What understands a greeting, a report or another word of its own of any of these dialects, for `hear`."""
    known = tuple(dialects)

    def understand(line: bytes) -> Heard | None:
        for dialect in known:
            reply = dialect.parse(line)
            if isinstance(reply, Greeting):
                return Heard(dialect.name, reply.text)
            if isinstance(reply, StatusReport):
                return Heard(dialect.name, f"did not greet; is {reply.state.value}")
            if dialect.is_own(reply):
                return Heard(dialect.name, "did not greet; answers")
        return None

    return understand


def spoken_instead(port: Port, clock: Clock, dialect: Dialect, heard: list[bytes], say: Callable[[bytes], None]) -> str:
    """Which of the other dialects is spoken at a port where `dialect` is not; empty if none is.

    Only questions are sent, by `say`; each moves nothing, sets nothing, and is carried out by nobody else. `heard` has
    what came before, and takes what comes now.
    """
    others = tuple(load_dialect(name) for name in dialect_names() if name != dialect.name)
    for other in others:
        if any(isinstance(other.parse(line), Greeting) for line in heard):
            return other.name
    for other in () if is_noise(b"".join(heard)) else others:
        say(other.probe())
        if (found := hear(port, clock, ANSWER_S, understanding((other,)), heard)) is not None:
            return found.dialect
    return ""


def _entries() -> dict[str, EntryPoint]:
    found = {entry.name: entry for entry in _OWN}
    found.update({entry.name: entry for entry in entry_points(group=GROUP) if entry.name not in found})
    return found
