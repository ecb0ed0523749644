"""A thousand indexes on each shipped machine: not one step of error at any rest, whatever the stored steps-per-unit."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.errors import CoordinateError
from firmware_host.model import Job, Setup
from firmware_host.planning.route.moves import Purpose
from firmware_host.station.gates.timed import TimedGate
from tests.support.station_bench import StationBench, changed_setup, quick_disk

COUNT = 1000
# Exact steps per unit and per turn of the part by hand: full steps * microsteps * reduction / 360 deg, and for the
# rollers the part's turn is 80 / 25.4 turns of the roller.
MACHINES = {
    "belt": ("shaft-scale", Fraction(200 * 16 * 3, 360), Fraction(9600)),
    "worm": ("heavy-shaft", Fraction(200 * 8 * 30, 360), Fraction(48000)),
    "direct": ("sleeve-label", Fraction(200 * 32, 360), Fraction(6400)),
    "rollers": ("bottle-band", Fraction(200 * 32, 360), Fraction(200 * 32 * 800, 254)),
}


def thousand(job: str, angle_deg: int) -> Setup:
    """A thousand equal segments over an arc that begins at the job's zero."""
    return changed_setup(
        job,
        mark={"angle": f"{angle_deg} deg", "passes": 1, "start_angle": "0 deg"},
        segments={"count": COUNT},
        index={"finish": "unwind", "settle": "0.05 s"},
    )


def bench_for(tmp_path: Path, setup: Setup, scale: Fraction, *, known: bool) -> StationBench:
    index = 1 if setup.machine.axis.letter == "Y" else 3
    stored = {f"${100 + index}": float(scale)}
    return StationBench(
        tmp_path, setup, stored=stored, known=known, away=0, gate=lambda context: TimedGate(context, 0.02)
    )


@pytest.mark.some(1)
@pytest.mark.parametrize("machine", MACHINES)
@pytest.mark.parametrize("stored", ["exact", "rounded"])
def test_a_thousand_indexes_land_on_a_thousand_intended_steps(
    machine: str, stored: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The exact value is one that nobody told us: only its three printed decimals are known.

    From those alone a full turn of the rollers' part (1134 units) can't be proved in one go: 1134 * 0.0005 units^-1 of
    doubt is more than half a step; 270 deg can.
    """
    quick_disk(monkeypatch)
    job, per_unit, per_turn = MACHINES[machine]
    exact = stored == "exact"
    angle_deg = 270 if exact and machine == "rollers" else 360
    scale = per_unit if exact else Fraction(round(per_unit * 1000), 1000)
    bench = bench_for(tmp_path, thousand(job, angle_deg), scale, known=not exact)
    record = bench.run()
    targets = [round(per_turn * angle_deg / 360 * k / COUNT) for k in range(COUNT)]
    rests = bench.progress.rests
    assert [planned for _, planned, _, _ in rests] == targets
    assert [true for *_, true in rests] == targets
    assert record.outcome == "done"
    assert record.step_errors == (0,) * COUNT
    bench.never_open_while_moving()
    indexes = int((bench.plan.route.purpose == Purpose.INDEX).sum())
    assert indexes == COUNT
    assert len(bench.sent_moves()) == bench.plan.route.targets.size


@pytest.mark.slow
def test_a_full_turn_with_an_unknown_fourth_decimal_takes_a_turn_back_on_the_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """15,600 steps to either side of machine zero can be proved, and the part's turn has 20,157.48."""
    quick_disk(monkeypatch)
    job, per_unit, per_turn = MACHINES["rollers"]
    bench = bench_for(tmp_path, thousand(job, 360), per_unit, known=False)
    record = bench.run()
    back = [true - round(per_turn * (Fraction(k, COUNT) - 1)) for k, (*_, true) in enumerate(bench.progress.rests)]
    on = [true - round(per_turn * k / COUNT) for k, (*_, true) in enumerate(bench.progress.rests)]
    first = back.index(0)
    assert 700 < first < 780
    assert on[:first] == [0] * first
    assert back[first:] == [0] * (COUNT - first)
    assert record.step_errors == (0,) * COUNT
    assert bench.steps == 0
    bench.never_open_while_moving()


def test_what_cannot_be_proved_from_three_decimals_is_refused_before_anything_moves(tmp_path: Path) -> None:
    """On a part of 170 mm, a turn of 42,835 steps is longer than all that can be proved."""
    job, per_unit, _ = MACHINES["rollers"]
    setup = thousand(job, 360)
    document = setup.job.model_dump(mode="json", exclude_none=True)
    document["part"] |= {"diameter": "170 mm", "inner_diameter": "167 mm", "density": "1500 kg/m^3", "mass": "0.25 kg"}
    thick = replace(setup, job=Job.model_validate(document))
    bench = bench_for(tmp_path, thick, per_unit, known=False)
    with pytest.raises(CoordinateError, match=r"may land beside step .*at most three decimals"):
        bench.run()
    assert bench.device.motion_log == ()
    assert bench.sent_moves() == []


def test_taking_the_rounded_value_for_the_stored_one_would_lose_steps(tmp_path: Path) -> None:
    """The control experiment, with raw lines: coordinates made with 17.778 on a board that holds 160/9 drift off."""
    job, per_unit, per_turn = MACHINES["rollers"]
    bench = bench_for(tmp_path, thousand(job, 360), per_unit, known=True)
    target = round(per_turn * 999 / 1000)
    bench.raw(f"G21 G90 G53 G1 Y{target / 17.778 * 3:.4f} F20000")
    assert bench.steps != 3 * target
