"""A batch from a program of one's own: one call, over a real line, with a table, a stop and a resume."""

from pathlib import Path

import pytest

import firmware_host as fh
from firmware_host.clock import ScaledClock
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.station.batch.opened import BatchOptions
from firmware_host.station.batch.planned import PlannedPart
from firmware_host.station.batch.side import Stop
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.opened import OpenStation, StationOptions
from firmware_host.station.passes.station import Station
from tests.support.batch_bench import ScriptedSide, batch_setup
from tests.support.station_bench import ScriptedOperator

CLOCK = 20.0


def write(part: PlannedPart, station: Station) -> None:
    opened = OpenStation(part.setup, part.plan, station)
    if opened.settings_differences():
        opened.write_settings()


def test_a_program_runs_a_table_of_parts_stops_and_resumes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("firmware_host.station.opened.state_folder", lambda: tmp_path / "state")
    table = tmp_path / "parts.csv"
    table.write_text("serial,diameter mm,text\nA,50.02,for Ada\nB,49.9,for Bob\n", encoding="utf-8")
    setup, clock = batch_setup(), ScaledClock(CLOCK)
    side = ScriptedSide(ready={2: [Stop("for lunch")]})
    batch: BatchOptions = {"side": lambda station: side, "write_settings": write}
    options: StationOptions = {
        "clock": clock,
        "operator": ScriptedOperator(clock),
        "gate": lambda context: TimedGate(context, 0.5),
    }
    made: list[Path] = []
    device = simulated_device(setup.machine, delivered=True, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        with pytest.raises(fh.RunStoppedError, match="for lunch"):
            fh.run_batch(setup, table, server.url, runs=tmp_path / "runs", batch=batch, created=made.append, **options)
        record = fh.resume_batch(made[0], finished=lambda entry: True, batch=batch, **options)
    assert [(part.serial, part.diameter, part.result) for part in record.parts] == [
        ("A", "50.02 mm", "good"),
        ("B", "49.9 mm", "good"),
    ]
    assert side.told == [("change", 1), ("judge", 1), ("change", 2), ("change", 2), ("judge", 2)]
    assert (made[0] / "times.csv").exists()
