"""Writing settings to a simulated board: backed up, read back, and never followed by a wild move."""

import re
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.acts import RestoreSettings
from firmware_host.controller.settings.backup import load_backup
from firmware_host.errors import (
    FirmwareHostError,
    InputError,
    LineRejectedError,
    PortLostError,
    SettingsMismatchError,
    StandstillError,
    UnreadableFileError,
)
from tests.support.bench import Bench, bench, move_and_stand_still

OLD = Fraction("26.667")
NEW = Fraction(50)


def away_from_zero() -> Bench:
    """A board that stands 3600 units from machine zero at 26.667 steps/unit, as in the wire description's trap."""
    b = bench({"$103": 26.667, "$133": 10000})
    b.device.receive(b"G1 A3600 F6000\n", 0.0)
    b.run(60.0)
    b.device.transmit(b.clock.monotonic())
    assert b.steps == 96001
    return b


def test_the_trap_is_there_a_bare_write_away_from_zero_makes_the_next_move_wild() -> None:
    b = away_from_zero()
    for line in (b"$103=50.000\n", b"G1 A3601 F6000\n"):
        b.device.receive(line, b.clock.monotonic())
        b.run(60.0)
    assert abs(b.steps - 96001) > 80_000


def test_after_a_write_away_from_zero_the_next_move_is_exact(tmp_path: Path) -> None:
    b = away_from_zero()
    controller = b.ready()
    start = len(b.port.written)
    held = controller.write_settings({"$103": "50"}, backup=tmp_path / "old.json")
    assert held.steps_per_unit.text == "50.000"
    assert held.steps_per_unit.is_exact
    sent = b.port.written[start:]
    stored = sent.index(b"$103=50\n")
    reset = sent.index(b"\x18")
    assert stored < reset
    assert set(sent[stored + 1 : reset]) <= {b"?", b"$$\n"}
    assert b"?" in sent[reset:]  # a fresh status before anything else
    controller.prepare()
    move_and_stand_still(controller, b, 96001 + 50, NEW, 0.5)
    assert b.steps == 96001 + 50


def test_moves_are_refused_until_the_reset_whatever_breaks_the_writing_off(tmp_path: Path) -> None:
    """The cable is pulled at every write in turn; the same controller and a new one may then try to move."""
    broken = 0
    for point in range(100):
        b = away_from_zero()
        controller = b.ready()
        end = len(b.port.written) + point
        b.port.on_write = lambda data, b=b, end=end: b.port.pull_cable() if len(b.port.written) == end else None
        try:
            controller.write_settings({"$103": "50", "$123": "400"}, backup=tmp_path / f"{point}.json")
        except PortLostError:
            broken += 1
        else:
            break
        b.port.on_write = lambda data: None
        b.port.lost = False
        before = list(b.port.written)
        per_unit = Fraction(b.device.settings["$103"]).limit_denominator(1000)
        if per_unit == NEW or not controller.synchronised:
            with pytest.raises(FirmwareHostError, match=r"line reader|prepared"):
                controller.move_to("1921", "6000")
            assert b.port.written == before
        b.run(1.0)
        again = b.ready()
        move_and_stand_still(again, b, 96001 + 40, per_unit, 0.5)
        assert b.steps == 96001 + 40
    assert broken > 10


def test_old_values_are_on_the_disk_before_the_first_write(tmp_path: Path) -> None:
    b = bench({"$103": 26.667})
    controller = b.ready()
    there: list[bool] = []
    backup = tmp_path / "old.json"
    b.port.on_write = lambda data: there.append(backup.exists()) if b"=" in data else None
    controller.write_settings({"$1": "255", "$123": "400", "$103": "50"}, backup=backup)
    assert there == [True, True, True]
    saved = load_backup(backup)
    assert (saved.dialect, saved.url) == ("status-query", "memory://device")
    assert saved.settings["$103"] == "26.667"
    assert len(saved.settings) == len(controller.settings.raw)


def test_each_setting_goes_alone_and_no_byte_is_lost(tmp_path: Path) -> None:
    b = bench()
    controller = b.ready()
    controller.write_settings({"$103": "50", "$123": "400", "$1": "255"}, backup=tmp_path / "old.json")
    assert b.device.bytes_lost == 0
    order = [data for data in b.port.written if b"=" in data]
    assert order[-1] == b"$103=50\n"  # what rescales comes last
    assert b.device.settings["$123"] == 400


def test_restoring_puts_the_old_values_back(tmp_path: Path) -> None:
    b = away_from_zero()
    controller = b.ready()
    backup = tmp_path / "old.json"
    controller.write_settings({"$103": "50", "$123": "400"}, backup=backup)
    start = len(b.port.written)
    held = controller.restore_settings(backup)
    assert held.steps_per_unit.text == "26.667"
    assert [data for data in b.port.written[start:] if b"=" in data] == [b"$123=500.000\n", b"$103=26.667\n"]
    controller.prepare()
    move_and_stand_still(controller, b, 96001 - 80, OLD, 0.5)
    assert b.steps == 96001 - 80
    start = len(b.port.written)
    controller.restore_settings(backup)  # nothing differs any more
    assert not [data for data in b.port.written[start:] if b"=" in data or data == b"\x18"]


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"$103": "26.66667"}, "cannot be stored"),
        ({"$1": "255", "$103": "1\n$H"}, "cannot be stored"),
        ({"$RST": "1"}, "is not a setting"),
        ({"$1": "255", "$103": "0"}, "0 steps per unit can't be worked with"),
        ({"$100": "0.000"}, "0 steps per unit can't be worked with"),
    ],
    ids=["decimals", "second-line", "no-setting", "no-steps", "no-steps-of-another-axis"],
)
def test_a_refused_value_sends_nothing_at_all(tmp_path: Path, changes: dict[str, str], complaint: str) -> None:
    b = bench()
    controller = b.ready()
    before = list(b.port.written)
    with pytest.raises(InputError, match=complaint):
        controller.write_settings(changes, backup=tmp_path / "old.json")
    assert b.port.written == before
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_setting_is_refused_before_anything_is_stored(tmp_path: Path) -> None:
    b = bench()
    controller = b.ready()
    with pytest.raises(InputError, match=r"the controller has no setting \$199"):
        controller.write_settings({"$1": "255", "$199": "1"}, backup=tmp_path / "old.json")
    assert not [data for data in b.port.written if b"=" in data]
    assert list(tmp_path.iterdir()) == []


def test_without_a_backup_nothing_is_stored(tmp_path: Path) -> None:
    b = bench()
    controller = b.ready()
    with pytest.raises(UnreadableFileError, match="the backup cannot be written"):
        controller.write_settings({"$1": "254"}, backup=tmp_path / "missing" / "old.json")
    assert not [data for data in b.port.written if b"=" in data]


def test_a_moving_axis_keeps_its_settings(tmp_path: Path) -> None:
    b = bench()
    controller = b.ready()
    controller.move_to("100", "3000")
    start = len(b.port.written)
    with pytest.raises(StandstillError, match="it is moving"):
        controller.write_settings({"$1": "254"}, backup=tmp_path / "old.json")
    assert set(b.port.written[start:]) == {b"?"}


def test_a_value_that_reads_back_differently_is_told_and_undone(tmp_path: Path) -> None:
    b = bench()
    controller = b.ready()
    b.port.spoil = lambda data: data.replace(b"$123=400.000", b"$123=300.000")
    backup = tmp_path / "old.json"
    with pytest.raises(SettingsMismatchError, match=r"\$123: wrote 400, reads 300\.000") as caught:
        controller.write_settings({"$123": "400"}, backup=backup)
    assert caught.value.__notes__ == ["no setting is changed, neither in force nor stored"]
    assert caught.value.acts == ()
    assert b.device.settings["$123"] == 500.0


def test_a_value_that_keeps_reading_back_differently_is_told_with_the_way_back(tmp_path: Path) -> None:
    b = bench()
    controller = b.ready()
    backup = tmp_path / "old.json"

    def spoil(data: bytes) -> bytes:
        begun = any(b"=" in line for line in b.port.written)
        return re.sub(rb"\$123=.00\.000", b"$123=300.000", data) if begun else data

    b.port.spoil = spoil
    with pytest.raises(SettingsMismatchError, match=r"\$123: wrote 400, reads 300\.000") as caught:
        controller.write_settings({"$123": "400"}, backup=backup)
    assert caught.value.__notes__ == ["$123: in force and stored 300.000"]
    assert caught.value.acts == (RestoreSettings(str(backup)),)


def test_a_backup_of_another_dialect_is_refused(tmp_path: Path) -> None:
    b = bench()
    controller = b.ready()
    backup = tmp_path / "old.json"
    controller.write_settings({"$1": "254"}, backup=backup)
    backup.write_text(backup.read_text("utf-8").replace("status-query", "other"), encoding="utf-8")
    before = list(b.port.written)
    with pytest.raises(InputError, match="was made with dialect 'other'"):
        controller.restore_settings(backup)
    assert b.port.written == before


def test_a_setting_that_the_controller_refuses_is_told(tmp_path: Path) -> None:
    b = bench()
    controller = b.ready()
    with pytest.raises(LineRejectedError, match=r"refused '\$0=1'") as told:
        controller.write_settings({"$1": "254", "$0": "1"}, backup=tmp_path / "old.json")
    assert told.value.__notes__ == ["no setting is changed, neither in force nor stored"]
    assert told.value.acts == ()
    assert b.device.settings["$1"] == 255.0
