"""What `compare` says of the settings is what a run will say of them, and it claims no more than it has seen."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from firmware_host.acts import WriteSettings
from firmware_host.controller.learned import Fact, Source
from firmware_host.errors import CoordinateError, InputError, PlanError
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.station.settings import write
from firmware_host.station.settings.check import safe_settings
from firmware_host.station.settings.compared import Comparison, LookedAt, compare_settings
from firmware_host.station.settings.write import changed_along, settings_changes, write_for_plan
from tests.support.numbered_bench import NumberedBench
from tests.support.station_bench import StationBench, quick_disk, small_setup

TWO_DECIMALS = NumberedLineVariant(axes="XYZE", whole_accelerations=True)
IN_FORCE_LISTED = RECORDED["numbered-line-b"]
STORED_LISTED = RECORDED["numbered-line-a"]


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


def test_a_run_that_will_be_refused_whatever_the_settings_is_told(tmp_path: Path) -> None:
    """That board ends a move beyond its travel without a word; opened without a reset, it may keep to that."""
    bench = numbered(tmp_path, IN_FORCE_LISTED, away=0)
    assert compared(bench).refusal == ""  # it has just been reset: not homed since, so it keeps to no travel
    refusal = compared(bench).refusal
    assert "lies outside the travel that the board keeps to, 0 to 200 units" in refusal
    with pytest.raises(PlanError, match="lies outside the travel that the board keeps to") as refused:
        bench.run()
    assert refusal.partition(": ")[0] in str(refused.value)
    assert compared(numbered(tmp_path / "other", TWO_DECIMALS, away=0)).refusal == ""


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
    bench = numbered(tmp_path, IN_FORCE_LISTED, away=0, stored={"M201 X": 9000.0})
    safe = safe_settings(bench.machine, bench.plan)
    assert Fraction(safe.acceleration).denominator > 1
    with bench.open() as controller:
        written = write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
    (change,) = (change for change in written if change.name == "acceleration")
    assert Fraction(change.wanted) == int(Fraction(safe.acceleration))
    assert f"rounded down from {safe.acceleration}" in change.note
    assert f"M201 X{change.wanted}*" in bench.port.sent.decode()
    assert bench.device.settings["M201 X"] == float(change.wanted)


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


def test_what_a_board_changes_by_itself_while_settings_are_written_is_told(tmp_path: Path) -> None:
    """One board raises the jump of another axis when it loads its settings, and stores that with the next storing."""
    bench = numbered(tmp_path, STORED_LISTED, away=0, stored={"M202 X": 9000.0})
    with bench.open() as controller:
        written = write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        assert changed_along(controller, written) == ("M207 Z: in force and stored 0.439",)
        again = write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "again.json")
        assert (again, changed_along(controller, again)) == ((), ())


@pytest.mark.parametrize(
    ("variant", "in_force", "differs"),
    [
        (STORED_LISTED, {"M202 X": 5000.0, "M201 X": 10.0}, "M202 X"),
        (STORED_LISTED, {"M202 X": 10.0, "M201 X": 5000.0}, ""),
        (IN_FORCE_LISTED, {"M201 X": 5000.0, "M204 T": 4000.0}, "M201 X"),
        (IN_FORCE_LISTED, {"M201 X": 5000.0, "M204 T": 10.0}, ""),
    ],
    ids=["stored-travel-one", "stored-other-one", "both-too-high", "general-one-governs"],
)
def test_the_acceleration_that_governs_a_plain_move_is_compared_and_written(
    variant: NumberedLineVariant, in_force: dict[str, float], differs: str, tmp_path: Path
) -> None:
    bench = numbered(tmp_path, variant, away=0, stored=in_force)
    highest = float(safe_settings(bench.machine, bench.plan).acceleration)
    needed = [each.key for each in compared(bench).needed]
    assert needed == [key for key in [differs] if key]
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        assert controller.learned.acceleration_key.value in ("M202 X", "M201 X", "M204 T")
    device = bench.device.settings
    governing = device["M202 X"] if variant is STORED_LISTED else min(device["M201 X"], device["M204 T"])
    assert governing <= highest * (1 + 1e-6)
