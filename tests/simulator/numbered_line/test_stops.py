"""Quick stops, halts and resets in every state."""

from __future__ import annotations

import pytest

from tests.simulator.numbered_line.bench import NumberedBench, numbered
from tests.support.board_faults import counter_at, fail


def moving(**fields: object) -> NumberedBench:
    """A board 1 s into a move of 10 s at 10 units/s, 500 units/s^2."""
    bench = NumberedBench(**fields)
    bench.ask("G1 A100 F600", 1.0)
    assert bench.moving()
    return bench


def test_a_quick_stop_loses_the_position() -> None:
    bench = moving()
    bench.ask("M400", 0.0)
    assert bench.ask("M410", 0.0) == []
    assert not bench.moving()
    believed, true = counter_at(bench.device, "A", bench.now_s), bench.steps()
    assert believed == pytest.approx(990, abs=1)  # 10 units/s for 1 s, less the ramp's 0.1 unit
    assert true - believed == 10  # the rotor runs on by v^2/2a = 0.1 unit
    assert bench.rest() == ["ok", "ok"]
    assert bench.report()[1]["A"] == believed
    bench.run("G0 A0")
    assert bench.steps() == 10


def test_a_stop_that_waits_its_turn_comes_too_late_behind_a_sync() -> None:
    bench = moving(acts_at_once=False)
    bench.ask("M400", 0.0)
    bench.ask("M410", 0.5)
    assert bench.moving()
    bench.rest()
    assert bench.steps() == 10000


def test_a_stop_that_waits_its_turn_works_when_nothing_is_before_it() -> None:
    bench = moving(acts_at_once=False)
    bench.ask("M410", 0.0)
    assert not bench.moving()


def test_a_quick_stop_acts_even_with_a_wrong_checksum() -> None:
    bench = moving()
    bench.write("N2 M410*0\n")
    assert not bench.moving()


@pytest.mark.parametrize(
    ("style", "words"),
    [("error", "Error:Printer halted"), ("bangs", "!!"), ("fatal", "fatal:halted")],
    ids=["error", "bangs", "fatal"],
)
@pytest.mark.parametrize("at_once", [True, False], ids=["at-once", "in-turn"])
def test_a_halt_stops_releases_and_faults_until_a_reset(style: str, words: str, at_once: bool) -> None:
    bench = moving(halt_style=style, acts_at_once=at_once)
    assert bench.ask("M112", 0.0) == [words]
    assert not bench.moving()
    assert bench.released()
    assert bench.device.halted
    answer = bench.ask("G0 A5", 5.0)
    assert answer == (["!!"] if style == "bangs" else [])
    assert not bench.moving()
    bench.device.hardware_reset(bench.now_s)
    assert bench.wait(0.0) == ["start", "echo:simulated board"]
    bench.number = 0
    assert bench.ask("G0 A5", 0.01) == ["ok"]
    assert bench.moving()


@pytest.mark.parametrize("at_once", [True, False], ids=["at-once", "in-turn"])
def test_a_board_that_restarts_after_a_halt_counts_from_1_at_position_0_and_sends_no_ok(at_once: bool) -> None:
    bench = moving(after_halt="restarts", greets=False, acts_at_once=at_once)
    bench.ask("M42 P1 S1")
    assert bench.ask("M112", 3.0) == ["Error:Printer halted"]
    assert bench.released()
    bench.write(numbered(bench.number + 1, "G90") + "\n")
    assert bench.rest()[1:] == ["Resend: 1", "ok"]
    bench.number = 0
    position, counts = bench.report()
    assert (position["A"], counts["A"]) == (0.0, 0)
    assert bench.steps() > 900


def test_a_halt_forgets_the_lines_that_wait() -> None:
    bench = moving()
    bench.write(numbered(2, "M400") + "\n" + numbered(3, "G0 A0") + "\n" + numbered(4, "M112") + "\n")
    assert bench.rest() == ["Error:Printer halted"]
    assert bench.steps() < 1010


@pytest.mark.parametrize("state", ["idle", "moving", "syncing", "homing", "dwelling", "mid-line"])
def test_a_board_that_fails_by_itself_stops_in_every_state(state: str) -> None:
    bench = NumberedBench(home_switches={"A": -100000})
    words = {"moving": "G1 A100 F600", "homing": "G28 A", "dwelling": "G4 S10"}
    if state in words:
        bench.ask(words[state], 0.5)
    elif state == "syncing":
        bench.ask("G1 A100 F600")
        bench.ask("M400", 0.5)
    elif state == "mid-line":
        bench.write("N1 G0 A")
    assert bench.moving() == (state in ("moving", "homing", "syncing"))
    fail(bench.device, bench.now_s)
    assert bench.rest() == ["Error:Printer halted"]
    assert not bench.moving()
    assert bench.device.halted


def test_a_reset_while_moving_loses_the_position_and_the_line_under_way() -> None:
    bench = moving()
    bench.ask("M400", 0.0)
    bench.write("N3 G0 A")
    bench.device.hardware_reset(bench.now_s)
    assert bench.rest() == ["start", "echo:simulated board"]
    bench.number = 0
    assert bench.ask("G90") == ["ok"]
    assert bench.report()[1]["A"] == 0
    assert bench.steps() == pytest.approx(1000, abs=1)


def test_what_a_reset_board_had_not_said_yet_stays_unsaid() -> None:
    bench = NumberedBench(ok_delay_s=0.5)
    bench.ask("G90", 0.1)
    bench.device.hardware_reset(bench.now_s)
    assert bench.rest() == ["start", "echo:simulated board"]


def test_time_never_runs_backwards() -> None:
    bench = NumberedBench()
    bench.wait(1.0)
    with pytest.raises(ValueError, match="time runs backwards"):
        bench.device.receive(b"M114\n", 0.5)


def test_a_quick_stop_does_not_stop_the_line_that_waited_for_room_in_the_planner() -> None:
    bench = moving(planner_blocks=1)
    bench.ask("G1 A200", 0.5)
    bench.ask("M410", 0.0)
    assert counter_at(bench.device, "A", bench.now_s) == pytest.approx(1490, abs=1)
    bench.rest()
    assert counter_at(bench.device, "A", bench.now_s) == 20000


def test_a_halt_forgets_the_bytes_behind_a_full_queue() -> None:
    bench = NumberedBench(command_lines=1, after_halt="restarts", greets=False)
    bench.write("G4 P500\nG4 P500\nG0 A5\nM112\n")
    assert bench.rest() == ["Error:Printer halted"]
    assert bench.steps() == 0
