"""Which class of controller goes with a dialect: each mechanism registers its own for its dialects' base class."""

from __future__ import annotations

from functools import singledispatch

from firmware_host.controller.axis import Connection
from firmware_host.controller.controller import Controller
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.base import NumberedDialect
from firmware_host.controller.numbered_line.controller import NumberedController
from firmware_host.controller.status_query.base import StateWordDialect
from firmware_host.controller.status_query.controller import StateWordController
from firmware_host.errors import InputError


@singledispatch
def controller_for(dialect: Dialect, connection: Connection, axis: str) -> Controller:
    """A controller of the dialect's mechanism for `axis`. Sends nothing: `connect` opens it.

    A plug-in with a mechanism of its own registers it here. Raises `InputError` for a dialect of an unknown mechanism.
    """
    del connection, axis
    problem = f"dialect {dialect.name!r} belongs to an unknown mechanism"
    raise InputError(problem, "Derive it from StateWordDialect or NumberedDialect", key="dialect")


@controller_for.register
def _state_word(dialect: StateWordDialect, connection: Connection, axis: str) -> Controller:
    return StateWordController(dialect, connection, axis)


@controller_for.register
def _numbered(dialect: NumberedDialect, connection: Connection, axis: str) -> Controller:
    return NumberedController(dialect, connection, axis)
