"""Opening a simulated board: what is learnt, what is refused, and that nothing moves."""

from collections.abc import Callable
from fractions import Fraction

import pytest

from firmware_host.acts import FindControllers, Unlock, WriteSettings
from firmware_host.controller.reply import AxisState
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    DialectError,
    SettingsMismatchError,
    StandstillError,
    UnexpectedReplyError,
)
from tests.support.bench import Bench, bench, move_and_stand_still

UNITS = Fraction(100)


def left_behind(b: Bench, *lines: bytes) -> None:
    """What an earlier owner of the line sent before it went away, its greeting and answers long gone."""
    b.device.transmit(b.clock.monotonic())
    for line in lines:
        b.device.receive(line, b.clock.monotonic())
        b.run(5.0)
        b.device.transmit(b.clock.monotonic())


def test_opening_asks_and_moves_nothing() -> None:
    b = bench()
    controller = b.open()
    assert b.port.written == [b"?", b"$$\n", b"$I\n", b"$$\n", b"$$\n"]
    assert controller.greeting is not None
    assert controller.settings.steps_per_unit.value == 100
    assert controller.status().state is AxisState.READY
    assert b.device.motion_log == ()


def test_preparing_sets_the_modal_words_and_moves_nothing() -> None:
    b = bench()
    b.ready()
    assert b.port.written[-3:] == [b"\n", b"G17 G21 G40 G49 G80 G90 G94\n", b"$G\n"]
    assert b.device.motion_log == ()


@pytest.mark.parametrize("blocks", [False, True], ids=["forgets-errors", "repeats-errors"])
def test_a_half_line_left_behind_is_never_carried_out(blocks: bool) -> None:
    b = bench(block_whole_line_after_error=blocks)
    left_behind(b, b"G1 A50 F600")
    controller = b.ready()
    move_and_stand_still(controller, b, 200, UNITS, 0.2)
    assert b.steps == 200
    assert [(log.from_steps, log.to_steps) for log in b.device.motion_log] == [(0, 200)]


def test_left_over_modes_and_offsets_do_not_matter() -> None:
    b = bench()
    left_behind(b, b"G1 A10 F600\n", b"G20 G91 G93\n", b"G92 A777\n", b"G10 L2 P1 A-55\n")
    controller = b.ready()
    move_and_stand_still(controller, b, 250, UNITS, 0.2)
    assert b.steps == 250


def test_a_changed_steps_per_unit_left_behind_cannot_make_the_first_move_wild() -> None:
    b = bench({"$103": 26.667, "$133": 10000})
    left_behind(b, b"G1 A3600 F6000\n")
    b.run(60.0)
    at = b.steps
    assert at == 96001
    left_behind(b, b"$103=50.000\n")
    controller = b.ready()
    assert b"\x18" in b.port.written
    assert controller.position_steps(controller.status()) == pytest.approx(at, abs=0.5)
    move_and_stand_still(controller, b, at + 50, Fraction(50), 0.5)
    assert b.steps == at + 50


def test_a_board_that_never_greets_is_synchronised_by_a_mark_that_its_reset_wipes_out() -> None:
    b = bench(greets=False)
    controller = b.open()
    assert controller.greeting is None
    controller.prepare()
    reset = b.port.written.index(b"\x18")
    assert b.port.written[reset - 1 : reset + 3] == [b"G91\n", b"\x18", b"?", b"$G\n"]
    move_and_stand_still(controller, b, 300, UNITS, 0.2)
    assert b.steps == 300


def test_a_board_that_ignores_the_reset_is_not_moved() -> None:
    b = bench(greets=False)
    controller = b.open()
    real = b.device.receive
    b.device.receive = lambda data, now_s: None if data == b"\x18" else real(data, now_s)  # type: ignore[method-assign]
    with pytest.raises(ControllerError, match="whether it was reset is unknown"):
        controller.prepare()
    with pytest.raises(StandstillError, match="may not agree with its step counter"):
        controller.move_to("1", "600")
    assert b.device.motion_log == ()


def test_a_position_that_changes_in_a_reset_is_not_trusted() -> None:
    b = bench()
    left_behind(b, b"G1 A10 F600\n")
    controller = b.open()
    b.port.spoil = lambda data: data.replace(b",10.000", b",9.990") if b"\x18" in b.port.written else data
    with pytest.raises(ControllerFaultError, match="its position changed in a reset"):
        controller.prepare()
    before = list(b.port.written)
    with pytest.raises(ControllerFaultError, match="its position changed in a reset"):
        controller.move_to("1", "600")
    assert b.port.written == before


def test_a_ready_axis_whose_position_changes_is_not_standing() -> None:
    b = bench()
    controller = b.open()
    places = iter([b"0.000>", b"0.010>"])
    b.port.spoil = lambda data: data.replace(b"0.000|", next(places)[:-1] + b"|", 4) if b"<Idle" in data else data
    with pytest.raises(StandstillError, match="its position changes from one report to the next"):
        controller.prepare()
    assert b.port.written[-2:] == [b"?", b"?"]


def test_a_moving_axis_is_not_opened_and_only_asked_for_its_state() -> None:
    b = bench()
    b.device.receive(b"G1 A100 F600\n", 0.0)
    b.run(1.0)
    b.device.transmit(b.clock.monotonic())
    with pytest.raises(StandstillError, match="it is moving, not ready"):
        b.open()
    assert set(b.port.written) == {b"?"}
    assert b.port.closed


def test_a_held_axis_is_opened_only_if_its_motion_may_be_dropped() -> None:
    b = bench()
    b.device.receive(b"G1 A100 F600\n", 0.0)
    b.run(1.0)
    left_behind(b, b"!")
    with pytest.raises(StandstillError, match="it is holding, not ready: release the hold"):
        b.open()
    assert set(b.port.written) == {b"?"}
    held = b.steps
    controller = b.open(drop_held_motion=True)
    controller.prepare()
    b.run(60.0)
    assert b.steps == held
    assert controller.position_steps(controller.status()) == pytest.approx(held, abs=0.5)


def test_a_missing_axis_is_told_by_its_letter() -> None:
    b = bench(axes="XYZ")
    b.axis = "X"
    with pytest.raises(ControllerError, match=r"has no axis A: it prints no setting \$103"):
        b.open(axis="A")


def test_silence_is_no_dialect_and_gives_the_port_back() -> None:
    b = bench()
    b.port.spoil = lambda data: b""
    with pytest.raises(DialectError, match="nothing answers in dialect status-query") as caught:
        b.open()
    assert caught.value.acts == (FindControllers("memory://device"), Unlock("memory://device"))
    assert b.port.closed


def test_steps_per_unit_said_to_be_known_must_be_printed_so() -> None:
    b = bench({"$103": 26.667})
    assert b.open(steps_per_unit_known=Fraction("26.667")).settings.steps_per_unit.is_exact
    with pytest.raises(SettingsMismatchError, match=r"prints 26\.667"):
        b.open(steps_per_unit_known=Fraction(53))


def spoiling_each(readings: Callable[[int], bool]) -> Callable[[bytes], bytes]:
    """Changes the scale in those of its listings, counted from 1, for which `readings` says so, each to another."""
    count = 0

    def spoil(data: bytes) -> bytes:
        nonlocal count
        count += data.count(b"$103=")
        return data.replace(b"$103=26.667", b"$103=%d.667" % count) if readings(count) else data

    return spoil


def test_a_digit_lost_while_reading_the_settings_is_made_good_by_another_reading() -> None:
    b = bench({"$103": 26.667})
    b.port.spoil = spoiling_each(lambda reading: reading == 2)
    assert b.open().settings.raw["$103"] == "26.667"


def test_a_setting_that_is_never_read_alike_twice_is_told() -> None:
    b = bench({"$103": 26.667})
    b.port.spoil = spoiling_each(lambda reading: True)
    with pytest.raises(UnexpectedReplyError, match=r"no two readings of the settings agree on \['\$103'\]"):
        b.open()


def test_a_locked_axis_can_be_read_but_not_moved_until_it_is_homed() -> None:
    b = bench({"$22": 1}, home_switches={"A": 300})
    controller = b.open()
    assert controller.status().state is AxisState.LOCKED
    with pytest.raises(ControllerFaultError, match=r"as after every start while homing is on \(\$22\)") as caught:
        controller.prepare()
    assert caught.value.acts == (Unlock(b.port.url), WriteSettings())  # the next opening may lock it again
    sent = len(b.port.sent)
    with pytest.raises(StandstillError, match="has not been prepared"):
        controller.move_to("1", "600")
    assert len(b.port.sent) == sent
    assert b.device.motion_log == ()
    controller.home()
    controller.prepare()
    position = controller.position_steps(controller.status())
    start = b.steps
    move_and_stand_still(controller, b, round(position) + 150, UNITS, 0.2)
    assert b.steps == start + 150


def test_homing_without_a_switch_is_refused_by_the_controller() -> None:
    b = bench()
    controller = b.ready()
    with pytest.raises(ControllerError, match=r"refused '\$H': homing is switched off"):
        controller.home()
    assert b.device.motion_log == ()
