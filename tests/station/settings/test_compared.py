"""What `compare` says of the settings is what a run will say of them, and it claims no more than it has seen."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from firmware_host.acts import WriteSettings
from firmware_host.controller.learned import Fact, Source
from firmware_host.errors import CoordinateError, InputError
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.station.settings import write
from firmware_host.station.settings.check import safe_settings
from firmware_host.station.settings.compared import Comparison, LookedAt, compare_settings
from firmware_host.station.settings.write import settings_changes, write_for_plan
from tests.support.numbered_bench import NumberedBench
from tests.support.station_bench import StationBench, quick_disk, small_setup

TWO_DECIMALS = NumberedLineVariant(axes="XYZAE", whole_accelerations=True)
STORED_LISTED = NumberedLineVariant(
    axes="XYZAE",
    settings_report="EPR after M205",
    settings_decimals=4,
    listing_shows="stored",
    rate_unit="per-minute",
    rate_listed="per-second",
)


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def compared(bench: StationBench) -> Comparison:
    with bench.open() as controller:
        return compare_settings(bench.machine, bench.plan, controller, bench.scales)


def numbered(tmp_path: Path, variant: NumberedLineVariant, **options: Any) -> NumberedBench:
    options.setdefault("known", False)
    return NumberedBench(tmp_path, small_setup(), variant, **options)


@pytest.mark.parametrize("away", [0, 40, 1234, 4800, 9000, 96001])
def test_a_scale_printed_with_two_decimals_is_called_fitting_only_where_a_run_begins(away: int, tmp_path: Path) -> None:
    bench = numbered(tmp_path, TWO_DECIMALS, away=away)
    told = compared(bench)
    assert [change.name for change in told.further if change.key == f"M92 {bench.axis}"] or told.needed
    if not told.needed:
        assert bench.run().outcome == "done"
        return
    (needed,) = told.needed
    assert (needed.name, needed.wanted) == ("steps per unit", "26.667")
    assert needed.stored == "26.67, which may be 26.665 to 26.675"
    with pytest.raises(CoordinateError, match="Write the steps-per-unit") as refused:
        bench.run()
    assert refused.value.acts == (WriteSettings(),)


def test_both_ways_occur_and_what_is_written_is_called_fitting_from_then_on(tmp_path: Path) -> None:
    near, far = numbered(tmp_path / "near", TWO_DECIMALS, away=40), numbered(tmp_path / "far", TWO_DECIMALS, away=4800)
    assert compared(near).needed == ()
    assert [each.name for each in compared(far).needed] == ["steps per unit"]
    bench = numbered(tmp_path / "new", TWO_DECIMALS, away=0)
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
    assert compared(bench) == Comparison((), (), LookedAt.IN_FORCE)
    assert bench.run().outcome == "done"


def test_what_was_looked_at_is_told_and_known_in_force_only_after_a_reset_or_storing(tmp_path: Path) -> None:
    bench = numbered(tmp_path, STORED_LISTED, away=0)
    with bench.open() as controller:
        assert compare_settings(bench.machine, bench.plan, controller, bench.scales).looked_at is LookedAt.BOTH
    bench.device.settings[f"M92 {bench.axis}"] = 77.0  # in force, and nobody lists it
    told = compared(bench)
    assert told.looked_at is LookedAt.STORED
    assert told.needed == ()
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        assert LookedAt.of(controller) is LookedAt.BOTH
    assert bench.device.settings[f"M92 {bench.axis}"] == pytest.approx(26.667)


def test_a_run_brings_what_is_stored_into_force_before_anything_moves(tmp_path: Path) -> None:
    bench = numbered(tmp_path, STORED_LISTED, away=0)
    with bench.open():
        pass
    bench.device.settings[f"M92 {bench.axis}"] = 77.0
    bench.device.settings[f"M201 {bench.axis}"] = 77000.0
    moves: list[float] = []
    written = bench.port.on_write

    def on_write(data: bytes) -> None:
        written(data)
        if b" G1 " in data:
            moves.append(bench.device.settings[f"M201 {bench.axis}"])

    bench.port.on_write = on_write
    assert bench.run().outcome == "done"
    assert 77000.0 not in moves
    assert moves


def test_an_acceleration_kept_as_a_whole_number_is_rounded_down_beforehand_and_said(tmp_path: Path) -> None:
    bench = numbered(tmp_path, TWO_DECIMALS, away=0, stored={"M201 A": 9000.0})
    safe = safe_settings(bench.machine, bench.plan)
    assert Fraction(safe.acceleration).denominator > 1
    with bench.open() as controller:
        written = write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
    (change,) = (change for change in written if change.name == "acceleration")
    assert Fraction(change.wanted) == int(Fraction(safe.acceleration))
    assert f"rounded down from {safe.acceleration}" in change.note
    assert f"M201 A{change.wanted}*" in bench.port.sent.decode()
    assert bench.device.settings["M201 A"] == float(change.wanted)


def test_a_whole_acceleration_below_1_is_refused_where_the_board_is_known_to_keep_no_other() -> None:
    certain, assumed = Fact(True, Source.DIALECT), Fact(True, Source.ASSUMED)
    assert write._acceleration("12.75", certain)[0] == "12"
    with pytest.raises(InputError, match=r"keeps accelerations as whole numbers, and the plan needs 0\.750 units/s\^2"):
        write._acceleration("0.750", certain)
    assert write._acceleration("0.750", assumed) == ("0.750", "")
    assert write._acceleration("500.750", assumed)[0] == "500"
    assert write._acceleration("0.750", Fact(False, Source.TOLD)) == ("0.750", "")


def test_the_status_query_boards_have_one_set_of_settings_only(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), away=0, stored={"$123": 1e5}, known=False)
    told = compared(bench)
    assert told.looked_at is LookedAt.BOTH
    assert [each.name for each in told.needed] == ["acceleration"]
    with bench.open() as controller:
        changes = settings_changes(bench.machine, bench.plan, controller, bench.scales)
    assert {each.key for each in (*told.needed, *told.further)} == {change.key for change in changes}
