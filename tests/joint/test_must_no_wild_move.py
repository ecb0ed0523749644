"""Steps-per-unit written while the axis stands away from machine zero: never followed by a wild move."""

from pathlib import Path

import pytest

from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.station.run import run_job
from firmware_host.station.settings.write import write_for_plan
from tests.support.station_bench import StationBench, quick_disk, small_setup

FAR_STEPS = 18_000
"""Almost two turns of the part away from machine zero: near enough for coordinates to be proved from three decimals."""
OLD = 13.333


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def far_away(tmp_path: Path, **options: object) -> StationBench:
    """A belt-chuck board that holds half the right steps-per-unit and stands far from machine zero."""
    return StationBench(tmp_path, small_setup(), stored={"$103": OLD}, away=FAR_STEPS, known=False, **options)  # type: ignore[arg-type]


def right_scale(bench: StationBench) -> str:
    return f"{float(StoredScale.as_written(bench.machine.steps_per_axis_unit).middle):.3f}"


def no_wild_move(bench: StationBench) -> None:
    """All motion since the write stays on the job's own microsteps, and every rest is the planned one."""
    targets = bench.plan.route.targets.tolist()
    low, high = FAR_STEPS + min(targets), FAR_STEPS + max(targets)
    log = bench.device.motion_log[bench.motion_before :]
    assert log
    for travel in log:
        assert low <= min(travel.from_steps, travel.to_steps)
        assert max(travel.from_steps, travel.to_steps) <= high
    assert [true - planned for _, planned, _, true in bench.progress.rests] == [0, 0, 0]
    bench.never_open_while_moving()


def test_the_simulated_board_does_run_wild_when_nothing_protects_it(tmp_path: Path) -> None:
    """The control experiment: the same write and the run's own first move as raw lines, without the reset between."""
    careful = far_away(tmp_path / "careful")
    careful.raw(f"$103={right_scale(careful)}")
    careful.run()
    first = careful.sent_moves()[0]
    bare = far_away(tmp_path / "bare")
    bare.raw(f"$103={right_scale(bare)}")
    bare.raw("G91")
    bare.raw(f"G1 A1 F{first.split('F')[1]}")  # one unit, 26.667 steps, on from where it stands
    assert abs(bare.steps - FAR_STEPS - 27) > 15_000
    assert abs(careful.device.motion_log[careful.motion_before].to_steps - FAR_STEPS) < 100


def test_written_through_our_own_settings_command(tmp_path: Path) -> None:
    bench = far_away(tmp_path)
    controller = bench.open()
    before = write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
    assert [(difference.key, difference.wanted) for difference in before] == [("$103", right_scale(bench))]
    controller.close()
    assert len(bench.device.motion_log) == bench.motion_before
    bench.run()
    no_wild_move(bench)


def test_written_and_run_on_one_open_port(tmp_path: Path) -> None:
    bench = far_away(tmp_path)
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        run_job(bench.setup, bench.plan, bench.station(controller))
    no_wild_move(bench)


def test_written_by_another_program_before_the_port_was_opened(tmp_path: Path) -> None:
    bench = far_away(tmp_path)
    bench.raw(f"$103={right_scale(bench)}")
    bench.run()
    no_wild_move(bench)


def test_written_by_another_program_that_left_half_a_line_behind(tmp_path: Path) -> None:
    bench = far_away(tmp_path)
    bench.raw(f"$103={right_scale(bench)}")
    bench.device.receive(b"G1 A5000 F9", bench.clock.monotonic())
    bench.run()
    no_wild_move(bench)
