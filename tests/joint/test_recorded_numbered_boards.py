"""Everything that is done with a board, done with the two recorded ones that take numbered lines.

The table of what passes is on the page of what is checked.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.controller.controller import Controller
from firmware_host.controller.finding import find
from firmware_host.errors import FirmwareHostError, RunNotBegunError
from firmware_host.planning.route.velocity import plan_index
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.settings.write import wanted_changes, write_for_plan
from tests.support.bench import Bench, bench_of
from tests.support.crashes import ALL, Crash, dies_in, revive
from tests.support.recorded_bench import NoisyLine, RecordedBench
from tests.support.station_bench import Phase, changed_setup, quick_disk, small_setup

FEED = 3000
boards = pytest.mark.parametrize("name", RECORDED)


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def landed(bench: RecordedBench) -> None:
    """No wrong step, and the gate was never open while the motor turned; a whole turn more is the same place."""
    turn = round(bench.plan.route.per_part_turn)
    assert {(true - planned) % turn for _, planned, _, true in bench.progress.rests} == {0}
    bench.never_open_while_moving()


@boards
def test_it_is_found_and_tells_what_it_is(name: str) -> None:
    bench = bench_of(RECORDED[name])
    (finding,) = find(["memory://device"], bench.clock, open_url=lambda url: bench.port, confirm=lambda url: True)
    assert (finding.dialect, finding.description is not None) == ("numbered-line", True)
    assert bench.device.motion_log == ()


def in_force_and_stored(device: NumberedLineDevice) -> tuple[dict[str, float], dict[str, float]]:
    """All settings of the axis: those in force, and those that come into force with the next start."""
    keys = [key for key in device.settings if key.endswith(" X") or key.startswith("M204")]
    in_force = {key: device.settings[key] for key in keys}
    stored = {key: device._board.settings.stored(key) for key in keys}
    return in_force, stored


@boards
def test_it_is_compared_written_and_restored_as_delivered(name: str, tmp_path: Path) -> None:
    bench = RecordedBench(tmp_path, small_setup(), name, delivered=True, known=False)
    before = in_force_and_stored(bench.device)
    with bench.open() as controller:
        assert wanted_changes(bench.machine, bench.plan, controller, bench.scales) != {}
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        assert wanted_changes(bench.machine, bench.plan, controller, bench.scales) == {}
    in_force, stored = in_force_and_stored(bench.device)
    assert in_force == stored != before[0]
    assert in_force["M92 X"] == pytest.approx(float(bench.machine.steps_per_axis_unit), abs=5e-4)
    record = bench.run()
    assert set(record.step_errors) == {0}
    landed(bench)
    with bench.open() as controller:
        controller.restore_settings(tmp_path / "old.json")
    in_force, stored = in_force_and_stored(bench.device)
    assert in_force == stored
    assert in_force == pytest.approx(before[0], rel=1e-6)


@pytest.mark.some(1)
@boards
def test_two_hundred_indexes_of_a_job_land_on_their_steps(name: str, tmp_path: Path) -> None:
    setup = changed_setup(
        "shaft-scale",
        mark={"angle": "360 deg", "passes": 1, "start_angle": "0 deg"},
        segments={"count": 200},
        index={"finish": "unwind", "settle": "0.05 s"},
    )
    stored = {"max X": 1000.0}
    bench = RecordedBench(tmp_path, setup, name, stored=stored, gate=lambda context: TimedGate(context, 0.02))
    record = bench.run()
    assert [true % 9600 for *_, true in bench.progress.rests] == [round(9600 * k / 200) for k in range(200)]
    assert record.step_errors == (0,) * 200
    landed(bench)


class Mover:
    """Moves the axis of a recorded board to one step count after the other, as a run does."""

    def __init__(self, name: str) -> None:
        self.bench: Bench[NumberedLineDevice] = bench_of(RECORDED[name])
        self.controller: Controller = self.bench.ready()
        settings, learned = self.controller.settings, self.controller.learned
        self.scale: Fraction = settings.steps_per_unit.value
        self.acceleration = float(settings.acceleration_units_per_s2.value)
        self.shortest = learned.shortest_move_steps.value
        self.wait_s = learned.first_step_wait_s.value
        self.jump = float(learned.start_jump_units_per_s.value or 0.0)
        self.at = 0

    def move(self, target: int) -> None:
        units = abs(target - self.at) / float(self.scale)
        least_s = float(plan_index(units, self.acceleration, FEED / 60).duration)
        accepted_s = self.controller.move_to(f"{float(Fraction(target) / self.scale):.5f}", str(FEED))
        self.controller.wait_for_standstill(
            target_steps=target,
            steps_per_unit=self.scale,
            accepted_at_s=accepted_s,
            planned_duration_s=max(0.0, least_s - 2 * self.jump / self.acceleration) + self.wait_s,
            deadline_s=accepted_s + least_s + 10.0,
        )
        self.at = target


@boards
def test_two_hundred_indexes_from_the_shortest_up_land_on_their_steps(name: str) -> None:
    mover, draw = Mover(name), random.Random(13)
    lengths = [
        mover.shortest,
        mover.shortest + 1,
        *(round(mover.shortest * 2 ** draw.uniform(0, 9)) for _ in range(198)),
    ]
    for length in lengths:
        forward = mover.at < 6000 or (mover.at < 12000 and draw.random() < 0.5)
        mover.move(mover.at + length if forward else mover.at - length)
        assert mover.bench.steps == mover.at
        assert not mover.bench.device.moving_at(mover.bench.clock.monotonic())


@pytest.mark.some(3)
@boards
@pytest.mark.parametrize("phase", ["moving", "settling", "gate-open"])
def test_a_run_killed_at_any_time_is_resumed_with_every_pass_made_once(name: str, phase: Phase, tmp_path: Path) -> None:
    bench = RecordedBench(tmp_path, small_setup(), name)
    dies_in(bench, phase)
    with pytest.raises(Crash):
        bench.run()
    revive(bench)
    assert bench.resume_somehow().outcome == "done"
    assert sorted(bench.passes_marked()) == ALL
    landed(bench)


@boards
@pytest.mark.parametrize("phase", ["moving", "settling", "gate-open"])
def test_a_reset_stops_the_run_with_the_position_lost_and_the_gate_closed(
    name: str, phase: Phase, tmp_path: Path
) -> None:
    bench = RecordedBench(tmp_path, small_setup(), name)
    bench.at(phase, lambda: bench.device.hardware_reset(bench.clock.monotonic()))
    with pytest.raises(FirmwareHostError):
        bench.run()
    assert not bench.gate.is_open
    if bench.gate.opened:
        bench.never_open_while_moving(settled=False)


@boards
@pytest.mark.parametrize("seed", [*range(3), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(3, 40))])
def test_noise_of_one_byte_in_a_thousand_makes_no_wrong_step(name: str, seed: int, tmp_path: Path) -> None:
    bench = RecordedBench(tmp_path, small_setup(passes=2), name)
    noise = NoisyLine(bench, 1e-3, seed)
    outcomes = outcomes_of(bench)
    assert noise.spoiled > 0
    landed(bench)
    assert outcomes[-1] == "done"


def outcomes_of(bench: RecordedBench) -> Sequence[str]:
    """Run, and resume as often as it takes; what each came to."""
    outcomes: list[str] = []
    for _ in range(30):
        try:
            record = bench.resume_somehow() if bench.folder.journal.exists() else bench.run()
        except FirmwareHostError as error:
            outcomes.append(f"{type(error).__name__}: {error}")
            bench.gate.close()
            bench.clock.sleep(10.0)
            if isinstance(error, RunNotBegunError):
                bench.new_folder()
        else:
            return [*outcomes, record.outcome]
    return outcomes
