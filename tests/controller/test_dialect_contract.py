"""What holds for every dialect, through the registry."""

import tomllib
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from firmware_host.controller import registry
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.base import NumberedDialect
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import Trace
from firmware_host.controller.registry import dialect_names, load_dialect
from firmware_host.controller.reply import Unknown
from firmware_host.controller.status_query.base import StateWordDialect
from firmware_host.errors import InputError

REQUESTS = ("status_request", "hold_request", "reset_request")


def state_word_lines(dialect: StateWordDialect) -> list[bytes]:
    return [
        dialect.settings_query(),
        dialect.buffer_query(),
        dialect.modes_query(),
        dialect.clear_line(),
        dialect.modal_line(),
        dialect.marker_line(),
        dialect.home_line(),
        dialect.unlock_line(),
    ]


def numbered_lines(dialect: NumberedDialect) -> list[bytes]:
    return [
        dialect.identity_query(),
        dialect.position_query(),
        *dialect.settings_queries(),
        *dialect.ready_lines(),
        dialect.stop_line(),
        dialect.home_line("A"),
        dialect.zero_line("A"),
        dialect.place_line("A", "-1234567.123456"),
        dialect.store_line(),
        dialect.count_from(0),
        dialect.probe(),
        dialect.numbered(12_345_678, dialect.move_line("A", "-1234567.1234", "12345.678")),
    ]


def test_the_dialect_found_by_its_name_says_that_name() -> None:
    assert {"status-query", "numbered-line"} <= set(dialect_names())
    for name in dialect_names():
        assert load_dialect(name).name == name


def test_a_plain_source_tree_has_the_dialects_of_the_package_s_own_entry_points(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    project = tomllib.loads(Path(__file__).parents[2].joinpath("pyproject.toml").read_text(encoding="utf-8"))
    written = project["project"]["entry-points"][registry.GROUP]
    monkeypatch.setattr(registry, "entry_points", lambda *, group: ())
    assert {entry.name: entry.value for entry in registry._entries().values()} == written
    assert sorted(written) == ["numbered-line", "status-query"] == list(dialect_names())


def test_a_plug_in_takes_no_built_in_dialect_away_and_must_be_a_dialect(monkeypatch: pytest.MonkeyPatch) -> None:
    foreign = [EntryPoint(name, "builtins:dict", registry.GROUP) for name in ("status-query", "foreign")]
    monkeypatch.setattr(registry, "entry_points", lambda *, group: foreign)
    assert isinstance(load_dialect("status-query"), StateWordDialect)
    with pytest.raises(InputError, match="dialect 'foreign' at builtins:dict is not a Dialect"):
        load_dialect("foreign")


def test_an_unknown_dialect_suggests_the_nearest() -> None:
    with pytest.raises(InputError, match="Did you mean 'status-query'"):
        load_dialect("status-qery")


@pytest.mark.parametrize("name", dialect_names())
def test_every_line_ends_once_and_no_request_does(name: str) -> None:
    dialect = load_dialect(name)
    lines = [dialect.sync_line(), dialect.move_line("A", "-1234567.1234", "12345.678")]
    requests: list[bytes] = []
    if isinstance(dialect, StateWordDialect):
        lines += state_word_lines(dialect)
        requests = [getattr(dialect, request)() for request in REQUESTS]
    else:
        assert isinstance(dialect, NumberedDialect)
        lines += numbered_lines(dialect)
    for line in lines:
        assert line.count(b"\n") == 1
        assert line.endswith(b"\n")
        assert len(line) <= dialect.max_line_bytes
    for request in requests:
        assert b"\n" not in request


@pytest.mark.parametrize("name", dialect_names())
def test_garbage_is_unknown(name: str) -> None:
    assert load_dialect(name).parse(b"\x00\xff{}") == Unknown(b"\x00\xff{}")


@pytest.mark.parametrize("kind", [Dialect, Port, Trace], ids=["dialect", "port", "trace"])
def test_an_incomplete_backend_cannot_be_made(kind: type) -> None:
    incomplete = type("Incomplete", (kind,), {})
    with pytest.raises(TypeError, match="abstract"):
        incomplete()
