"""What a board does with settings that it does not take as they are, and which of them it lists."""

from __future__ import annotations

import pytest

from tests.simulator.numbered_line.bench import NumberedBench


def listed(bench: NumberedBench, what: str) -> list[str]:
    return [line.split()[2] for line in bench.ask("M205", 5.0) if f"A-axis {what}" in line]


def test_a_listing_may_show_what_is_stored_and_not_what_is_in_force() -> None:
    """Measured: M201 X500 showed 1000 until M500."""
    bench = NumberedBench(settings_report="EPR after M205", listing_shows="stored")
    assert listed(bench, "acceleration") == ["500.00"]
    bench.ask("M201 A400", 1.0)
    assert bench.device.settings["M201 A"] == 400
    assert listed(bench, "acceleration") == ["500.00"]
    bench.ask("M500", 1.0)
    assert listed(bench, "acceleration") == ["400.00"]


def test_accelerations_may_be_kept_as_whole_numbers() -> None:
    """Measured: 2999.96 was kept and shown as 2999.00."""
    bench = NumberedBench(whole_accelerations=True)
    bench.ask("M201 A2999.96", 1.0)
    bench.ask("M203 A12.5", 1.0)
    assert (bench.device.settings["M201 A"], bench.device.settings["M203 A"]) == (2999, 12.5)


def test_a_fixed_setting_is_refused_or_taken_without_effect() -> None:
    bench = NumberedBench(fixed_settings={"M201 A": "refused", "M203 A": "ignored"})
    assert bench.ask("M201 A7", 1.0) == ["Error:M201 A cannot be changed", "ok"]
    assert bench.ask("M203 A7", 1.0) == ["ok"]
    assert (bench.device.settings["M201 A"], bench.device.settings["M203 A"]) == (500, 100)
    with pytest.raises(ValueError, match="fixed_settings names"):
        NumberedBench(fixed_settings={"M203 Q": "ignored"})
