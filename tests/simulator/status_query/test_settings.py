"""What a board does with settings that it does not take, and what it prints of those that it does."""

from __future__ import annotations

import pytest

from tests.simulator.bench import Bench


def test_soft_limits_need_homing_and_go_with_it() -> None:
    bench = Bench()
    assert bench.ask("$20=1") == ["error:10"]
    assert bench.ask("$22=1") == ["ok"]
    assert bench.ask("$20=1") == ["ok"]
    assert bench.ask("$22=0") == ["ok"]
    assert (bench.device.settings["$20"], bench.device.settings["$22"]) == (0, 0)


def test_a_fixed_setting_is_refused_or_answered_as_if_it_were_set() -> None:
    bench = Bench(fixed_settings={"$27": "refused", "$113": "ignored"})
    assert bench.ask("$27=5") == ["error:3"]
    assert bench.ask("$113=5") == ["ok"]
    assert bench.ask("$112=5") == ["ok"]
    assert [bench.device.settings[name] for name in ("$27", "$113", "$112")] == [1, 6000, 5]
    with pytest.raises(ValueError, match=r"fixed_settings names \['\$999'\]"):
        Bench(fixed_settings={"$999": "refused"})


def test_steps_per_unit_are_printed_with_the_decimals_of_the_board() -> None:
    assert "$103=26.667" in Bench({"$103": 26.66667}).ask("$$", 1.0)
    listed = Bench({"$103": 26.66667, "$113": 1.23456}, scale_decimals=5).ask("$$", 1.0)
    assert "$103=26.66667" in listed
    assert "$113=1.235" in listed
