"""A reversed axis: the controller counts the other way, and the part turns as the mark runs; nothing else changes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import PlanError, RunStoppedError
from firmware_host.model import Machine, Setup
from tests.support.station_bench import StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def reversed_setup(name: str = "shaft-scale", **axis: Any) -> Setup:
    setup = small_setup(name)
    document = setup.machine.model_dump(mode="json", exclude_none=True)
    document["axis"] |= {"reversed": True} | axis
    return replace(setup, machine=Machine.model_validate(document))


def true_positions(bench: StationBench) -> list[tuple[int, int]]:
    """(planned, true) microsteps from the zero of each standstill; the motor's own counter is the outside source."""
    return [(planned, true) for _, planned, _, true in bench.progress.rests]


@pytest.mark.parametrize("name", ["shaft-scale", "bottle-band"], ids=["lost motion taken up", "rollers"])
def test_the_motor_turns_the_other_way_by_the_same_microsteps(name: str, tmp_path: Path) -> None:
    (tmp_path / "plain").mkdir()
    plain, bench = StationBench(tmp_path / "plain", small_setup(name)), StationBench(tmp_path, reversed_setup(name))
    assert plain.run().outcome == "done"
    record = bench.run()
    assert (record.outcome, set(record.step_errors)) == ("done", {0})
    assert [planned for planned, _ in true_positions(bench)] == [planned for planned, _ in true_positions(plain)]
    assert all(true == planned for planned, true in true_positions(plain))
    assert all(true == -planned for planned, true in true_positions(bench))
    assert any(planned > 0 for planned, _ in true_positions(bench))
    assert bench.steps == bench.progress.origin, "unwound"
    assert bench.plan == plain.plan, "nothing else changes"


def test_a_stopped_run_of_a_reversed_axis_is_resumed_where_it_stood(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, reversed_setup())
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"), rests=2)
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        bench.run()
    assert bench.resume().outcome == "done"
    assert all(true == -planned for planned, true in true_positions(bench))
    bench.new_folder()
    assert bench.run().outcome == "done", "it came back to its zero, so nothing is asked"


def test_the_travel_stays_as_the_controller_counts_it(tmp_path: Path) -> None:
    """80 deg of travel above machine zero: the mark runs below it, so the job begins where that fits, or is refused."""
    forward = {"travel": {"lowest": "-5 deg", "highest": "80 deg"}, "unwind": "never"}
    with pytest.raises(PlanError, match=r"target outside axis.travel: -\d+\.?\d* deg, limit -5 deg"):
        StationBench(tmp_path, reversed_setup(**forward), away=0)
    backward = {"travel": {"lowest": "-80 deg", "highest": "5 deg"}, "unwind": "never"}
    bench = StationBench(tmp_path, reversed_setup(**backward), away=0)
    assert bench.run().outcome == "done"
    assert all(true == -planned for planned, true in true_positions(bench))
