"""What each key does to the axis, in virtual time: nothing is saved up, and any other key stops a move."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.clock import Clock
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.errors import InputError
from firmware_host.planning.plan import plan_job
from firmware_host.reporting.machines.hand import ALIGN_KEYS, CAUTION, KEYS, where_line
from firmware_host.station.hand.hand import Where
from firmware_host.station.hand.places import Place, place_named, places_of
from firmware_host.station.hand.session import Screen, Session
from firmware_host.station.hand.steps import Step
from tests.support.hand_bench import BENCHES, hand_on
from tests.support.station_bench import AWAY_STEPS, StationBench, quick_disk, small_setup

RIGHT_HELD_S = 1 / 30


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


class ScriptedKeys:
    """Keys at their instants (s from the beginning); then the terminal is closed."""

    def __init__(self, clock: Clock, pressed: Iterable[tuple[float, str]], lasts_s: float) -> None:
        self._clock = clock
        self._begin_s = clock.monotonic()
        self._pressed = sorted(pressed)
        self._lasts_s = lasts_s

    @property
    def ended(self) -> bool:
        return self._clock.monotonic() - self._begin_s > self._lasts_s

    def take(self) -> str | None:
        if self._pressed and self._pressed[0][0] <= self._clock.monotonic() - self._begin_s:
            return self._pressed.pop(0)[1]
        return None

    def forget(self) -> None:
        while self.take() is not None:
            pass


class SeenScreen(Screen):
    """Keeps what was shown."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.said: list[str] = []
        self.typed: list[str] = []

    def where(self, where: Where, step: Step) -> None:
        self.lines.append(where_line(where, step))

    def typing(self, prompt: str, typed: str) -> None:
        self.typed.append(f"{prompt}: {typed}")

    def say(self, text: str) -> None:
        self.said.append(text)

    def keys(self, places: Sequence[Place]) -> None:
        pass


def pressed(
    bench: StationBench, keys: Iterable[tuple[float, str]], *, lasts_s: float = 60.0, on: Sequence[str] = ()
) -> tuple[SeenScreen, Where]:
    screen = SeenScreen()
    with hand_on(bench) as hand:
        known = places_of(bench.setup, bench.plan)
        places = [place_named(name, known, key="on") for name in on]
        Session(hand, ScriptedKeys(bench.clock, keys, lasts_s), screen, places).run()
        return screen, hand.where


def each(*keys: str, every_s: float = 3.0) -> list[tuple[float, str]]:
    """One after the other, with time for each."""
    return [(1.0 + count * every_s, key) for count, key in enumerate(keys)]


@pytest.mark.parametrize("dialect", BENCHES)
def test_arrows_turn_and_size_the_step_and_an_angle_can_be_typed(dialect: str, tmp_path: Path) -> None:
    bench = BENCHES[dialect](tmp_path, small_setup())
    keys = each("right", "up", "right", "left", "down", "left", "g", "3", "8", "backspace", "7", ".", "5", "enter", "q")
    screen, where = pressed(bench, keys)
    assert where.microsteps == 1000 == bench.steps - AWAY_STEPS
    stops = [line.split()[1] for line in screen.lines if line.startswith("STILL")]
    assert list(dict.fromkeys(stops)) == ["+0.000", "+15.000", "+60.000", "+37.500"]
    assert screen.said[0].startswith("No zero is known here")
    assert screen.typed[-1] == "go to (deg): 37.5"
    assert max(map(len, screen.lines)) < 80
    assert {line.split()[0] for line in screen.lines} == {"STILL", "TURNING"}


def test_a_key_that_is_held_down_is_never_more_than_one_move_ahead(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    held = [(1.0 + n * RIGHT_HELD_S, "right") for n in range(90)]  # three seconds of it
    with hand_on(bench) as hand:
        screen = SeenScreen()
        keys = ScriptedKeys(bench.clock, held, 30.0)
        begin_s = bench.clock.monotonic()
        Session(hand, keys, screen).run()
    log = bench.device.motion_log[bench.motion_before :]
    assert len(log) > 3, "it goes on for as long as the key is held"
    last_s = begin_s + 1.0 + 90 * RIGHT_HELD_S
    later = [travel for travel in log if travel.start_s > last_s]
    assert len(later) <= 1
    assert bench.steps - AWAY_STEPS == hand.where.microsteps == 400 * len(log)


@pytest.mark.parametrize("key", ["x", "escape", "space", "left", "z"])
def test_any_other_key_stops_a_move_and_does_nothing_else(key: str, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    keys = [*each("up", "up", "right"), (7.4, key)]
    screen, where = pressed(bench, keys, lasts_s=12.0)
    assert "stopped" in screen.said
    assert 0 < where.microsteps < 2400
    assert (where.microsteps, where.zero) == (bench.steps - AWAY_STEPS, "none")
    assert screen.lines[-1].startswith("STILL")


def test_lengths_are_those_of_the_surface(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    screen, where = pressed(bench, each("u", "right", "q"))
    assert screen.lines[-1].endswith("step 1 mm")
    assert where.degrees == pytest.approx(360 / (3.14159 * 50), abs=0.04)


def test_zero_is_set_and_gone_back_to_and_without_one_there_is_nothing_to_go_back_to(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    screen, where = pressed(bench, each("0", "right", "z", "up", "right", "0", "q"))
    assert "no zero is set to go back to" in screen.said[1]
    assert (where.microsteps, where.zero) == (0, "set")
    assert bench.steps - AWAY_STEPS == 400


@pytest.mark.parametrize("dialect", BENCHES)
def test_the_motor_is_released_only_after_a_second_word_and_turns_nothing_meanwhile(
    dialect: str, tmp_path: Path
) -> None:
    bench = BENCHES[dialect](tmp_path, small_setup())
    screen, where = pressed(bench, each("m", "x", "right", "m", "m", "right", "m", "right", "q"))
    assert sum("may turn by itself" in text for text in screen.said) == 2
    assert any("hold it before it is turned" in text for text in screen.said)
    assert any(line.startswith("RELEASED") for line in screen.lines)
    assert (where.energised, where.zero, where.microsteps) == (True, "none", 400)


@pytest.mark.parametrize("dialect", BENCHES)
def test_a_handle_that_was_aligned_is_where_the_job_says_it_is(dialect: str, tmp_path: Path) -> None:
    setup = small_setup().with_values({"part.keep_out": [{"start": "170 deg", "end": "230 deg"}]})
    bench = BENCHES[dialect](tmp_path, setup)
    screen, where = pressed(bench, each("right", "enter", "2"), on=("start-mark", "handle"))
    assert where.degrees == pytest.approx(200, abs=0.02)
    assert "Under the laser: the middle of the keep-out arc (handle) 170 deg to 230 deg" in screen.said[-1]
    at = bench.steps
    assert bench.run().outcome == "done"
    assert bench.steps == at - where.microsteps


def test_places_are_named_and_an_angle_is_one_too() -> None:
    setup = small_setup().with_values(
        {"part.keep_out": [{"start": "170 deg", "end": "190 deg"}, {"start": "200 deg", "end": "210 deg"}]}
    )
    places = places_of(setup, plan_job(setup))
    assert [place.name for place in places] == ["start-mark", "handle-1", "handle-2", "mark-begin"]
    assert place_named("30 deg", places, key="on").turns * 360 == 30
    with pytest.raises(InputError, match="is no place of this job"):
        place_named("handel-1", places, key="on")


@pytest.mark.parametrize("line", [*CAUTION, *KEYS, *ALIGN_KEYS])
def test_nothing_that_is_shown_is_wider_than_a_terminal(line: str) -> None:
    assert len(line) < 80


def test_where_a_stop_may_lose_steps_it_is_said_and_the_zero_is_gone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    short = replace(NumberedLineDialect.capabilities, stop_keeps_position=False)
    monkeypatch.setattr(NumberedLineDialect, "capabilities", short)
    bench = BENCHES["numbered-line"](tmp_path, small_setup())
    screen, where = pressed(bench, [*each("z", "up", "up", "right"), (10.4, "x")], lasts_s=20.0)
    assert any(text.startswith("stopped short: steps may be lost") for text in screen.said)
    assert (where.microsteps, where.zero, where.still) == (0, "none", True)
