"""What a variant may be, and the ready-made ones."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pytest

from firmware_host.simulator.numbered_line.boards import delivered_numbered_board, set_numbered_board
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.simulator.status_query.variant import StatusQueryVariant
from tests.simulator.numbered_line.bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS, rotary_axis, single_differences
from tests.support.status_query_boards import STATUS_QUERY_BOARDS
from tests.support.status_query_boards import single_differences as status_query_differences

NOT_A_DIFFERENCE = {
    "settings",
    "homing_rate",
    "travel",
    "start_feed",
    "eeprom_write_s",
    "capabilities",
    "more_settings",
}


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"axes": "XYQ"}, "name each axis once"),
        ({"axes": "XXA"}, "name each axis once"),
        ({"receive_buffer": 1}, "receive_buffer must be at least 2"),
        ({"ok_fields": "NQ"}, "only N, P and B are known"),
        ({"busy_every_s": 0.0}, "busy_every_s 0.0 must be greater than 0"),
        ({"highest_step_rate": float("nan")}, "highest_step_rate nan must be greater than 0"),
        ({"home_switches": {"Q": 5}}, r"\['Q'\], no axes"),
    ],
    ids=["unknown-axis", "axis-twice", "no-buffer", "ok-field", "busy", "rate", "switch"],
)
def test_an_impossible_variant_is_refused(wrong: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        NumberedLineVariant(**wrong)


@pytest.mark.parametrize(
    ("settings", "kind", "words"),
    [({"M92 Q": 1.0}, KeyError, "no setting M92 Q"), ({"M92 A": 0.0}, ValueError, "M92 A=0.0")],
    ids=["unknown", "zero"],
)
def test_a_board_with_impossible_settings_is_refused(
    settings: dict[str, float], kind: type[Exception], words: str
) -> None:
    with pytest.raises(kind, match=words):
        NumberedLineDevice(NumberedLineVariant(settings=settings))


def test_settings_can_be_changed_behind_the_boards_back_but_not_removed() -> None:
    bench = NumberedBench()
    bench.device.settings["M92 A"] = 10.0
    bench.run("G0 A10 F6000")
    assert bench.steps() == 100
    with pytest.raises(TypeError, match="not removed"):
        del bench.device.settings["M92 A"]


def test_there_are_eight_mixed_boards_at_least_of_each_dialect_all_different() -> None:
    assert len(NUMBERED_LINE_BOARDS) >= 8
    assert len(STATUS_QUERY_BOARDS) >= 8
    for variants in (list(NUMBERED_LINE_BOARDS.values()), list(STATUS_QUERY_BOARDS.values())):
        assert all(a != b for index, a in enumerate(variants) for b in variants[:index])


def test_every_switch_is_alone_in_one_variant_and_each_of_these_differs_in_what_its_name_says() -> None:
    plain, moved = NumberedLineVariant(), set()
    for variant in single_differences().values():
        changed = {f.name for f in fields(variant) if getattr(variant, f.name) != getattr(plain, f.name)}
        assert 1 <= len(changed - {"boot_loss_s"}) or changed == {"boot_loss_s"}
        assert len(changed) <= 2
        moved |= changed
    assert moved == {f.name for f in fields(plain)} - NOT_A_DIFFERENCE


def test_every_switch_of_the_other_dialect_is_alone_in_one_variant_too() -> None:
    plain, moved = StatusQueryVariant(), set()
    for variant in status_query_differences().values():
        moved |= {f.name for f in fields(variant) if getattr(variant, f.name) != getattr(plain, f.name)}
    assert moved == {f.name for f in fields(plain)}


@pytest.mark.parametrize("letter", "XYZABC")
def test_a_board_set_for_an_axis_moves_it_as_set(letter: str) -> None:
    variant = set_numbered_board(
        letter, steps_per_unit=26.66667, rate=30.0, acceleration=4000.0, highest_step_rate=1e6, homes=True
    )
    bench = NumberedBench()
    bench.device = NumberedLineDevice(variant)
    bench.run(f"G0 {letter}36 F60000")
    assert bench.steps(letter) == 960
    # 36/30 + 30/4000 s: the trapezoid of the design description; M204 must not slow it down
    assert bench.last_step_s() - bench.device.motion_log[0].start_s == pytest.approx(36 / 30 + 30 / 4000)
    bench.run(f"G28 {letter}")
    assert bench.steps(letter) == -2000


def test_a_board_as_delivered_fits_no_machine() -> None:
    variant = delivered_numbered_board("B", highest_step_rate=40_000.0)
    assert variant.initial_settings()["M92 B"] == 100.0
    assert (rotary_axis(variant), variant.home_switches) == ("A", {})
