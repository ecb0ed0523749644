"""What holds for every dialect, through the registry."""

import pytest

from firmware_host.controller.dialect import Dialect
from firmware_host.controller.port import Port
from firmware_host.controller.registry import dialect_names, load_dialect
from firmware_host.controller.reply import Unknown
from firmware_host.controller.trace import Trace
from firmware_host.errors import InputError

LINES = (
    "settings_query",
    "buffer_query",
    "modes_query",
    "clear_line",
    "modal_line",
    "marker_line",
    "sync_line",
    "home_line",
    "unlock_line",
)
REQUESTS = ("status_request", "hold_request", "go_on_request", "reset_request")


def test_the_dialect_found_by_its_name_says_that_name() -> None:
    assert "status-query" in dialect_names()
    for name in dialect_names():
        assert load_dialect(name).name == name


def test_an_unknown_dialect_suggests_the_nearest() -> None:
    with pytest.raises(InputError, match="Did you mean 'status-query'"):
        load_dialect("status-qery")


@pytest.mark.parametrize("name", dialect_names())
def test_every_line_ends_once_and_no_request_does(name: str) -> None:
    dialect = load_dialect(name)
    lines = [getattr(dialect, line)() for line in LINES] + [dialect.move_line("A", "-1234567.1234", "12345.678")]
    for line in lines:
        assert line.count(b"\n") == 1
        assert line.endswith(b"\n")
        assert len(line) <= dialect.max_line_bytes
    for request in REQUESTS:
        assert b"\n" not in getattr(dialect, request)()


@pytest.mark.parametrize("name", dialect_names())
def test_garbage_is_unknown(name: str) -> None:
    assert load_dialect(name).parse(b"\x00\xff{}") == Unknown(b"\x00\xff{}")


@pytest.mark.parametrize("kind", [Dialect, Port, Trace], ids=["dialect", "port", "trace"])
def test_an_incomplete_backend_cannot_be_made(kind: type) -> None:
    incomplete = type("Incomplete", (kind,), {})
    with pytest.raises(TypeError, match="abstract"):
        incomplete()
