"""Which session goes with a dialect: each mechanism registers its own, for the base class of its dialects."""

from __future__ import annotations

from functools import singledispatch

from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.base import NumberedDialect
from firmware_host.controller.numbered_line.session import NumberedSession
from firmware_host.controller.session import AxisSession, Connection
from firmware_host.controller.status_query.base import StateWordDialect
from firmware_host.controller.status_query.session import StateWordSession
from firmware_host.errors import InputError


@singledispatch
def session_for(dialect: Dialect, connection: Connection, axis: str) -> AxisSession:
    """A session of the dialect's mechanism for `axis`. Sends nothing.

    A plug-in with a mechanism of its own registers it here. Raises `InputError` for a dialect of no known mechanism.
    """
    del connection, axis
    problem = f"dialect {dialect.name!r} belongs to no known mechanism"
    raise InputError(problem, "Derive it from StateWordDialect or NumberedDialect", key="dialect")


@session_for.register
def _state_word(dialect: StateWordDialect, connection: Connection, axis: str) -> AxisSession:
    return StateWordSession(dialect, connection, axis)


@session_for.register
def _numbered(dialect: NumberedDialect, connection: Connection, axis: str) -> AxisSession:
    return NumberedSession(dialect, connection, axis)
