"""Settings of controllers that take numbered lines: read in their own units, written only if they can be read back."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.controller.settings.backup import load_backup
from firmware_host.controller.stored_settings import StatedSettings, WantedSettings
from firmware_host.errors import (
    ControllerError,
    InputError,
    LineRejectedError,
    PortLostError,
    SettingsMismatchError,
    StandstillError,
)
from tests.support.bench import move_and_stand_still, numbered_bench

OLD = Fraction(100)
NEW = Fraction("26.667")
STATED = StatedSettings(Fraction(80), Fraction(6000), Fraction(400))


def writes(written: list[bytes]) -> list[bytes]:
    """The lines that set or store something, without number and checksum."""
    words = [line.split(b"*")[0].partition(b" ")[2] for line in written]
    return [word for word in words if word.startswith((b"M92", b"M203", b"M201", b"M500", b"G92"))]


# --- reading -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("report", ["M503 echo", "EPR after M205"])
@pytest.mark.parametrize("unit", ["per-second", "per-minute"])
def test_rates_are_told_in_units_per_minute_whatever_the_controller_counts_in(report: str, unit: str) -> None:
    b = numbered_bench({"M203 A": 12.5}, rate_unit=unit, settings_report=report)  # units/s, whatever it prints
    held = b.open().settings
    assert held.rate_units_per_min.value == 750
    half = held.rate_units_per_min.high - held.rate_units_per_min.value
    assert half == Fraction("0.005") * (60 if unit == "per-second" else 1)
    assert held.raw[held.names.rate] == "750.00"
    assert held.unreadable == ()


def test_the_smaller_of_the_axis_own_and_the_general_acceleration_counts() -> None:
    assert numbered_bench({"M204 T": 300.0}).open().settings.acceleration_units_per_s2.value == 300
    assert numbered_bench({"M204 T": 3000.0}).open().settings.acceleration_units_per_s2.value == 500


def test_a_heater_s_constants_are_no_acceleration() -> None:
    b = numbered_bench({"M204 T": 3.0}, m204="heater")
    controller = b.open()
    b.port.spoil = lambda data: data.replace(b"echo: M201", b"echo: M204 P22.20 I1.08 D114.00\r\necho: M201")
    assert controller.read_settings().acceleration_units_per_s2.value == 500
    assert not [key for key in controller.settings.raw if key.startswith("M204")]


def test_what_cannot_be_read_is_said_and_taken_from_what_is_stated() -> None:
    b = numbered_bench(settings_report="none")
    controller = b.open(stated=STATED)
    held = controller.settings
    assert held.unreadable == ("steps per unit", "rate", "acceleration")
    assert held.stored_rate is None
    assert (held.steps_per_unit.value, held.rate_units_per_min.value) == (80, 6000)
    assert held.acceleration_units_per_s2.value == 400
    assert held.compare(WantedSettings(steps_per_unit=Fraction(26), never_released=True, homing=True)) == ()


def test_what_is_neither_read_nor_stated_is_told_when_it_is_needed() -> None:
    held = numbered_bench(settings_report="none").open().settings
    with pytest.raises(ControllerError, match="does not report its acceleration: state it in the machine's file"):
        assert held.acceleration_units_per_s2


def test_what_can_be_read_is_not_overruled_by_what_is_stated() -> None:
    held = numbered_bench().open(stated=STATED).settings
    assert held.steps_per_unit.value == 100


def test_a_rate_without_a_unit_is_not_used_until_the_unit_is_stated() -> None:
    b = numbered_bench({"M203 A": 12.5})
    b.port.spoil = lambda data: data.replace(b"units/s\r", b"\r")
    controller = b.open()
    assert controller.settings.unreadable == ("rate",)
    controller.close()
    assert b.open(stated=StatedSettings(rates_per_s=True)).settings.rate_units_per_min.value == 750


def test_a_stated_unit_that_the_controller_contradicts_is_refused() -> None:
    with pytest.raises(ControllerError, match="prints rates in units/s, but the machine's file states units/min"):
        numbered_bench().open(stated=StatedSettings(rates_per_s=False))


# --- writing -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("shifts", [False, True], ids=["counts-follow", "position-follows"])
@pytest.mark.parametrize("report", ["M503 echo", "EPR after M205"])
def test_a_scale_written_at_zero_is_known_exactly_and_the_next_move_lands(
    tmp_path: Path, shifts: bool, report: str
) -> None:
    b = numbered_bench(scale_change_shifts_position=shifts, settings_report=report)
    controller = b.ready()
    start = len(b.port.written)
    held = controller.write_settings({"M92 A": "26.667"}, backup=tmp_path / "old.json")
    kept_first = report == "EPR after M205"  # such a listing may show what is stored
    zero_anew = [b"M500", b"G92 A0"] if kept_first else [b"G92 A0", b"M500"]
    assert writes(b.port.written[start:]) == [b"M92 A26.667", *zero_anew]
    assert held.steps_per_unit.value == NEW  # it prints 26.67
    assert held.steps_per_unit.is_exact
    assert load_backup(tmp_path / "old.json").settings["M92 A"] == "100.00"
    controller.prepare()
    move_and_stand_still(controller, b, 96001, NEW, 60.0)
    assert b.steps == 96001


def test_the_trap_is_there_a_bare_change_away_from_zero_shifts_the_position() -> None:
    b = numbered_bench(scale_change_shifts_position=True)
    for line in (b"G1 A10 F6000\n", b"M92 A50\n", b"G1 A11 F6000\n"):
        b.device.receive(line, b.clock.monotonic())
        b.run(5.0)
    assert b.steps == 550  # it took step 1000 for 20 units, and went back to 11


def test_a_scale_is_not_written_away_from_zero_and_nothing_is_sent(tmp_path: Path) -> None:
    b = numbered_bench()
    controller = b.ready()
    move_and_stand_still(controller, b, 1, OLD, 0.1)
    start = len(b.port.written)
    with pytest.raises(StandstillError, match=r"axis A stands at 0\.01, not at zero"):
        controller.write_settings({"M92 A": "50"}, backup=tmp_path / "old.json")
    assert writes(b.port.written[start:]) == []
    assert list(tmp_path.iterdir()) == []
    move_and_stand_still(controller, b, 0, OLD, 0.1)
    controller.write_settings({"M92 A": "50"}, backup=tmp_path / "old.json")


@pytest.mark.parametrize("listed", ["per-second", "per-minute"])
def test_a_rate_taken_in_another_unit_than_it_is_listed_in_is_never_sixty_times_off(
    tmp_path: Path, listed: str
) -> None:
    b = numbered_bench({"M203 A": 12.5}, settings_report="EPR after M205", rate_unit="per-minute", rate_listed=listed)
    controller = b.ready()
    rate = controller.settings.names.rate
    seen: list[float] = []
    b.port.on_write = lambda data: seen.append(b.device.settings["M203 A"])
    held = controller.write_settings({rate: "6100.000"}, backup=tmp_path / "old.json")
    assert float(held.rate_units_per_min.value) == pytest.approx(6100, abs=0.31)
    assert b.device.settings["M203 A"] == pytest.approx(6100 / 60, abs=1e-4)
    assert set(seen) == {12.5, b.device.settings["M203 A"]}
    controller.restore_settings(tmp_path / "old.json")
    assert b.device.settings["M203 A"] == 12.5


def test_the_machine_s_file_says_in_which_unit_such_a_board_takes_a_rate(tmp_path: Path) -> None:
    b = numbered_bench({"M203 A": 12.5}, settings_report="EPR after M205", rate_unit="per-second")
    controller = b.ready(stated=StatedSettings(rates_per_s=True))
    controller.write_settings({controller.settings.names.rate: "6000"}, backup=tmp_path / "old.json")
    assert b.device.settings["M203 A"] == 100.0


@pytest.mark.parametrize("unit", ["per-second", "per-minute"])
def test_a_rate_is_written_in_the_controller_s_own_unit_and_never_too_high(tmp_path: Path, unit: str) -> None:
    b = numbered_bench(rate_unit=unit)
    controller = b.ready()
    rate = controller.settings.names.rate
    held = controller.write_settings({rate: "6100.000", "M201 A": "123.45"}, backup=tmp_path / "old.json")
    assert 6099.9 <= b.device.settings["M203 A"] * 60 <= 6100.001
    assert float(held.rate_units_per_min.value) == pytest.approx(6100, abs=0.3)
    assert b.device.settings["M201 A"] == pytest.approx(123.45)
    b.device.hardware_reset(b.clock.monotonic())
    assert b.device.settings["M203 A"] * 60 == pytest.approx(6100, abs=0.1)  # it was stored


def test_a_setting_that_cannot_be_read_is_not_written(tmp_path: Path) -> None:
    b = numbered_bench(settings_report="none")
    controller = b.ready(stated=STATED)
    start = len(b.port.written)
    with pytest.raises(InputError, match="the controller has no setting M92 A"):
        controller.write_settings({"M92 A": "50"}, backup=tmp_path / "old.json")
    assert writes(b.port.written[start:]) == []


def test_a_value_that_reads_back_differently_is_told_undone_and_not_stored(tmp_path: Path) -> None:
    b = numbered_bench()
    controller = b.ready()
    b.port.spoil = lambda data: data.replace(b"A123.45", b"A500.00")
    start = len(b.port.written)
    with pytest.raises(SettingsMismatchError, match=r"M201 A: wrote 123\.45, reads 500\.00") as told:
        controller.write_settings({"M201 A": "123.45"}, backup=tmp_path / "old.json")
    assert b"M500" not in writes(b.port.written[start:])
    assert told.value.__notes__ == ["no setting is changed, neither in force nor stored"]
    assert b.device.settings["M201 A"] == 500.0


def test_a_controller_that_cannot_store_says_so(tmp_path: Path) -> None:
    b = numbered_bench()
    controller = b.ready()
    b.port.spoil = lambda data: data.replace(b"Settings Stored", b'Unknown command: "M500"')
    with pytest.raises(LineRejectedError, match="refused 'M500': a word the controller does not know") as told:
        controller.write_settings({"M201 A": "123.45"}, backup=tmp_path / "old.json")
    assert told.value.__notes__ == ["no setting is changed, neither in force nor stored"]
    assert b.device.settings["M201 A"] == 500.0


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"M92 A": "26.66667"}, "cannot be stored"),
        ({"M92 A": "0"}, r"M92 A: 0 steps per unit can't be worked with\. Write a number above 0"),
        ({"M201 A": "1\nG28"}, "cannot be stored"),
        ({"M502 A": "1"}, "is not a setting"),
    ],
    ids=["decimals", "zero", "second-line", "no-setting"],
)
def test_a_refused_value_sends_nothing_at_all(tmp_path: Path, changes: dict[str, str], complaint: str) -> None:
    b = numbered_bench()
    controller = b.ready()
    before = list(b.port.written)
    with pytest.raises(InputError, match=complaint):
        controller.write_settings(changes, backup=tmp_path / "old.json")
    assert b.port.written == before


def test_whatever_breaks_the_writing_off_the_old_values_can_be_put_back(tmp_path: Path) -> None:
    """The cable is pulled at every write in turn; then the board is reset, or not, and the backup restored."""
    broken = 0
    for point in range(0, 60, 3):
        for reset in (False, True):
            b = numbered_bench()
            controller = b.ready()
            backup = tmp_path / f"{point}-{reset}.json"
            end = len(b.port.written) + point
            b.port.on_write = lambda data, b=b, end=end: b.port.pull_cable() if len(b.port.written) == end else None
            changes = {"M92 A": "26.667", "M201 A": "250", controller.settings.names.rate: "3000"}
            try:
                controller.write_settings(changes, backup=backup)
            except PortLostError:
                broken += 1
            b.port.on_write = lambda data: None
            b.port.lost = False
            if reset:
                b.device.hardware_reset(b.clock.monotonic())
            if backup.exists():
                b.open().restore_settings(backup)
            b.device.hardware_reset(b.clock.monotonic())
            b.device.transmit(b.clock.monotonic())  # two greetings would be one reset too many
            assert {key: b.device.settings[key] for key in ("M92 A", "M201 A", "M203 A")} == {
                "M92 A": 100.0,
                "M201 A": 500.0,
                "M203 A": 100.0,
            }
            again = b.ready()
            move_and_stand_still(again, b, 40, OLD, 0.1)
            assert b.steps == 40
    assert broken > 6
