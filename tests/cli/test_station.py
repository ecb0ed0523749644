"""`station` at the front door: kept, shown, changed, used and forgotten."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Circumstep


def test_a_station_is_kept_shown_changed_and_forgotten(circumstep: Circumstep, home: Path) -> None:
    kept = circumstep("station", "new", "bench", "--machine", "belt-chuck", "--port", "COM3", "--units", "inch")
    assert (kept.status, kept.out.splitlines()[:4]) == (
        0,
        ["station: bench", "in use: yes", "machine: belt-chuck", "port: COM3"],
    )
    assert kept.err == f"kept in {home / 'xdg_config_home' / 'circumstep' / 'stations.toml'}\n"
    words = ("--gate", "command", "--gate-option", "timeout=5 min", "--", "mark it", "-q")
    assert circumstep("station", "new", "laser", "--machine", "two-rollers", *words).status == 0
    shown = json.loads(circumstep("station", "show", "laser", "--json").out)
    assert shown == {
        "name": "laser",
        "in_use": False,
        "machine": "two-rollers",
        "port": "",
        "baud": None,
        "units": "metric",
        "gate": {"kind": "command", "timeout": "5 min"},
        "gate_program": ["mark it", "-q"],
    }
    changed = json.loads(
        circumstep("station", "change", "laser", "--gate-option", "timeout=1 min", "--baud", "9600", "--json").out
    )
    assert changed == shown | {"gate": {"kind": "command", "timeout": "1 min"}, "baud": 9600}
    changed = json.loads(circumstep("station", "change", "laser", "--gate", "none", "--baud", "0", "--json").out)
    assert changed == shown | {"gate": None, "gate_program": []}
    assert json.loads(circumstep("station", "use", "laser", "--json").out)["in_use"]
    assert [each["name"] for each in json.loads(circumstep("station", "list", "--json").out)] == ["bench", "laser"]
    assert "laser" not in circumstep("station", "forget", "laser").out
    assert "in use: yes" in circumstep("station", "show").out


def test_where_none_is_kept_that_is_said(circumstep: Circumstep) -> None:
    assert "no station is kept yet" in circumstep("station", "list").err
    assert circumstep("station", "show").out == "No station is in use.\n"
    assert json.loads(circumstep("station", "show", "--json").out) == {"name": None}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("new", "a"), "--machine: which machine stands at the station is not said"),
        (("new", "a", "--machine", "belt-chick"), "Did you mean 'belt-chuck'?"),
        (("new", "a", "--machine", "belt-chuck", "--gate", "tcp"), "gate.timeout: this key is missing"),
        (("new", "a", "--machine", "belt-chuck", "--gate-option", "timeout"), "'timeout' is no KEY=VALUE"),
        (("use", "a"), "a: no station has this name"),
    ],
    ids=["no-machine", "machine", "gate", "option", "name"],
)
def test_what_is_wrong_is_told(circumstep: Circumstep, words: tuple[str, ...], told: str) -> None:
    ended = circumstep("station", *words)
    assert (ended.status, ended.out) == (2, "")
    assert told in ended.err


def test_the_units_of_the_station_in_use_are_what_people_read_and_the_option_wins(circumstep: Circumstep) -> None:
    metric = circumstep("segments", "shaft-scale").out
    inch = circumstep("segments", "shaft-scale", "--units", "inch").out
    assert metric != inch
    assert circumstep("station", "new", "bench", "--machine", "belt-chuck", "--units", "inch").status == 0
    assert circumstep("segments", "shaft-scale").out == inch
    assert circumstep("segments", "shaft-scale", "--units", "metric").out == metric
    assert circumstep("station", "change", "bench", "--units", "metric").status == 0
    assert circumstep("segments", "shaft-scale").out == metric
