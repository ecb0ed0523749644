"""An axis that may not take whole turns back: a run that would need it is refused before anything moves."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import CoordinateError, FirmwareHostError, PlanError
from firmware_host.model import Machine, Setup
from tests.joint.test_long_run_jobs import far_round
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import StationBench, changed_setup, quick_disk

FIX = r'axis\.unwind = "whole-turns" in the machine file, which says "never"$'


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def on_axis(setup: Setup, **axis: Any) -> Setup:
    """The same job on a machine whose axis is described otherwise."""
    machine = setup.machine.model_dump(mode="json", exclude_none=True)
    machine["axis"] |= axis
    return replace(setup, machine=Machine.model_validate(machine))


def kinds(bench: StationBench) -> list[str]:
    return [event["event"] for event in journal_lines(bench.folder.journal)]


def refused(bench: StationBench, kind: type[FirmwareHostError], complaint: str) -> None:
    """Refused with this reason: nothing has moved, no gate was open, and the record says why."""
    with pytest.raises(kind, match=complaint) as caught:
        bench.run()
    assert bench.device.motion_log[bench.motion_before :] == ()
    assert bench.sent_moves() == []
    assert bench.gate.opened == []
    assert kinds(bench) == ["begin", "end"]
    record = json.loads(bench.folder.record.read_text("utf-8"))
    assert (record["outcome"], record["reason"]) == ("failed", str(caught.value))


def test_an_endless_axis_that_may_not_unwind_refuses_what_passes_the_proved_reach(tmp_path: Path) -> None:
    """Of its scale three decimals are known: 15,600 steps can be proved, the third segment lies at 15,398 + 1234."""
    bench = StationBench(tmp_path, on_axis(far_round(), unwind="never"), known=False)
    refused(bench, CoordinateError, r"may land beside step 16632.*at most three decimals.*" + FIX)


def test_the_same_run_without_unwinding_is_done_once_its_scale_is_known(tmp_path: Path) -> None:
    """The fix that the refusal names works: a scale that was written is known exactly, and proves all targets."""
    bench = StationBench(tmp_path, on_axis(far_round(), unwind="never"), known=True)
    assert bench.run().outcome == "done"
    assert "unwind" not in kinds(bench)
    targets = bench.plan.route.segment_targets().tolist()
    assert [(planned, true) for _, planned, _, true in bench.progress.rests] == [(t, t) for t in targets]


def test_the_same_run_is_done_when_the_axis_may_unwind_again(tmp_path: Path) -> None:
    """And so does the other fix."""
    bench = StationBench(tmp_path, on_axis(far_round(), unwind="whole-turns"), known=False)
    assert bench.run().outcome == "done"
    assert kinds(bench).count("unwind") == 1


def cable_wound(**axis: Any) -> Setup:
    """Nine segments, 10 to 170 deg from the job's zero, 9600 microsteps a turn; -200 to 200 deg of travel."""
    setup = changed_setup(
        "shaft-scale",
        mark={"angle": "180 deg", "start_angle": "10 deg"},
        segments={"count": 9},
        index={"finish": "stay", "settle": "0.05 s"},
    )
    return on_axis(setup, travel={"lowest": "-200 deg", "highest": "200 deg"}, **axis)


def test_a_cable_wound_axis_that_may_not_unwind_refuses_what_leaves_its_travel(tmp_path: Path) -> None:
    """The plan fits from machine zero, but the axis stands 100 deg (2667 microsteps) on: 170 deg become 270."""
    bench = StationBench(tmp_path, cable_wound(unwind="never"), away=2667)
    refused(bench, PlanError, r"outside axis\.travel: 270 deg, limit 200 deg\. Move mark.*" + FIX)


def test_a_cable_wound_axis_that_may_not_unwind_runs_what_stays_within_its_travel(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, cable_wound(unwind="never"), away=700)
    assert bench.run().outcome == "done"
    assert "unwind" not in kinds(bench)
    assert max(travel.to_steps for travel in bench.device.motion_log) <= 200 * 9600 / 360


def test_the_cable_wound_axis_takes_a_turn_back_when_it_may(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, cable_wound(), away=2667)
    assert bench.run().outcome == "done"
    assert kinds(bench).count("unwind") == 1
    assert max(travel.to_steps for travel in bench.device.motion_log) <= 200 * 9600 / 360


def test_a_machine_with_a_home_switch_is_refused_before_it_homes(tmp_path: Path) -> None:
    """48,000 microsteps a turn, 133.333 a degree, known to 0.0005: three turns out that may be 0.55 steps."""
    mark = {"angle": "90 deg", "start_angle": "1080 deg", "pass_time": "20 s"}
    setup = changed_setup("heavy-shaft", mark=mark, segments={"count": 5})
    bench = StationBench(tmp_path, on_axis(setup, unwind="never"), known=False)
    refused(bench, CoordinateError, r"may land beside step.*" + FIX)
    assert "$H" not in bench.sent_lines()
