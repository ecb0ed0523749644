"""A job is run where its machine stands, and never silently at the port of another."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.errors import InputError
from firmware_host.folders import shipped_folder
from firmware_host.model import Setup, job_from, load_job, load_machine
from firmware_host.model.files.at_station import JobAtStation, job_at_station, machine_at_station
from firmware_host.model.files.files import read_toml
from firmware_host.model.files.keeping import keep_station, use_station
from firmware_host.model.files.stations import RememberedStation
from firmware_host.model.job.gate import CommandGateOptions, OperatorGateOptions, TimedGateOptions

COMMAND = CommandGateOptions.model_validate({"kind": "command", "timeout": "5 min"})
BELT = RememberedStation("bench", "belt-chuck", "/dev/bench", 9600, COMMAND, ("mark", "-q"))
ROLLERS = RememberedStation("table", "two-rollers", "/dev/table")


def job(**changes: object) -> Setup:
    """A job for the belt-reduced chuck that states no gate but one of `changes`."""
    tables, _ = read_toml(shipped_folder() / "jobs" / "shaft-scale.toml")
    return job_from({key: value for key, value in tables.items() if key != "gate"} | changes, source="job.toml")


@pytest.fixture
def user(tmp_path: Path) -> Path:
    for station in (ROLLERS, BELT):
        keep_station(station, user=tmp_path)
    return tmp_path


def at(user: Path, setup: Setup | None = None, **asked: object) -> JobAtStation:
    return job_at_station(setup or job(), user=user, **asked)  # type: ignore[arg-type]


def test_without_a_station_nothing_is_taken(tmp_path: Path) -> None:
    found = at(tmp_path, port="COM3")
    assert (found.station, found.port, found.baud, found.taken) == (RememberedStation(), "COM3", None, ())
    assert found.setup.job.gate == OperatorGateOptions()


def test_a_job_is_run_where_its_machine_stands_whichever_station_is_in_use(user: Path) -> None:
    found = at(user)  # the one in use is the table
    assert (found.station.name, found.port, found.baud) == ("bench", "/dev/bench", 9600)
    assert (found.setup.job.gate, found.gate_program) == (COMMAND, ("mark", "-q"))
    assert found.taken == ("machine belt-chuck", "port /dev/bench", "9600 baud", "gate command", "program mark")


def test_what_is_asked_for_stands(user: Path) -> None:
    found = at(user, station="bench", port="COM9", baud=115200, gate_program=("other",))
    assert (found.port, found.baud, found.gate_program) == ("COM9", 115200, ("other",))
    assert found.taken == ("machine belt-chuck", "gate command")


def test_a_gate_that_the_job_states_stands_and_so_does_that_of_a_run_begun(user: Path) -> None:
    timed = {"kind": "timed", "duration": "1 s"}
    found = at(user, job(gate=timed))
    assert (found.setup.job.gate, found.gate_program) == (TimedGateOptions.model_validate(timed), ())
    assert at(user, own_gate=True).setup.job.gate == OperatorGateOptions()


@pytest.mark.parametrize("asked", [{"station": "table"}, {"port": "/dev/other"}, {"port": "/dev/table"}], ids=str)
def test_it_is_not_run_with_what_belongs_to_another_station(user: Path, asked: dict[str, str]) -> None:
    if "station" in asked:
        with pytest.raises(InputError, match=r"machine: the job is for .*belt-chuck\.toml, and at station table"):
            at(user, **asked)
        return
    found = at(user, **asked)
    assert (found.station.name, found.port, found.gate_program, found.taken) == ("", asked["port"], (), ())
    assert found.setup.job.gate == OperatorGateOptions()
    told = "at this port stands two-rollers, the machine of station table"
    assert found.warning == (told if asked["port"] == "/dev/table" else "")


@pytest.mark.posix("links to devices")
def test_the_port_of_a_station_however_it_is_spelt_is_that_station(user: Path, tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to("/dev/bench")
    assert at(user, port=str(link)).station.name == "bench"


def test_a_job_whose_machine_stands_nowhere_is_refused_unless_its_file_names_a_port_of_its_own(user: Path) -> None:
    setup = load_job("heavy-shaft")
    with pytest.raises(InputError, match=r"worm-chuck\.toml, and at station table stands two-rollers"):
        at(user, setup)
    for port, refused in (("/dev/own", False), ("/dev/bench", True)):
        link = setup.machine.link.model_copy(update={"port": port})
        own = replace(setup, machine=setup.machine.model_copy(update={"link": link}))
        if refused:
            with pytest.raises(InputError, match="at station bench stands belt-chuck"):
                at(user, own)
        else:
            assert (at(user, own).station.name, at(user, own).port) == ("", "")


def test_where_nothing_real_moves_no_station_is_needed_but_one_that_is_named_has_to_fit(user: Path) -> None:
    found = at(user, load_job("heavy-shaft"), anywhere=True)
    assert (found.station, found.taken) == (RememberedStation(), ())
    assert at(user, anywhere=True).station.name == "bench"
    with pytest.raises(InputError, match="at station table stands two-rollers"):
        at(user, anywhere=True, station="table")


def test_of_several_stations_with_the_machine_the_one_in_use_is_taken_else_one_has_to_be_named(user: Path) -> None:
    keep_station(replace(BELT, name="second", port="/dev/second"), user=user)
    with pytest.raises(InputError, match="this machine stands at several stations: bench, second"):
        at(user)
    assert at(user, station="second").port == "/dev/second"
    use_station("second", user=user)
    assert at(user).port == "/dev/second"


def test_a_machine_of_the_same_values_is_the_same_and_one_changed_in_a_copy_is_not(
    user: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(user)
    written = (shipped_folder() / "machines/belt-chuck.toml").read_text(encoding="utf-8")
    Path("belt-chuck.toml").write_text(written + "# a copy\n", encoding="utf-8")
    copied = load_job("shaft-scale")  # finds the machine here
    assert copied.machine_source == "belt-chuck.toml"
    assert job_at_station(copied, user=user).station.name == "bench"
    Path("belt-chuck.toml").write_text(written.replace("driven_teeth = 60", "driven_teeth = 40"), encoding="utf-8")
    with pytest.raises(InputError, match=r"belt-chuck\.toml, and at station table stands two-rollers"):
        job_at_station(load_job("shaft-scale"), user=user)


def test_a_machine_is_found_by_its_name_by_its_port_or_by_the_station(user: Path) -> None:
    found = {
        str(asked): machine_at_station(user=user, **asked)  # type: ignore[arg-type]
        for asked in ({}, {"machine": "belt-chuck"}, {"port": "/dev/bench"}, {"station": "bench"}, {"port": "COM9"})
    }
    here, *others, unknown = found.values()
    assert here is not None
    assert (here.machine, here.port) == (load_machine("two-rollers"), "/dev/table")
    assert [(each.machine, each.port, each.baud) for each in others if each] == [
        (load_machine("belt-chuck"), "/dev/bench", 9600)
    ] * 3
    assert unknown is None
    with pytest.raises(InputError, match=r"asked for is belt-chuck, and at station table stands two-rollers"):
        machine_at_station("belt-chuck", station="table", user=user)
