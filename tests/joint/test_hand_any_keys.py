"""Any sequence of keys, in virtual time: it stands at the intended microstep, within the limits, the gate closed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware_host.station.hand.session import Session
from firmware_host.station.hand.steps import ANGLES, USUAL, lengths
from tests.joint.test_hand_keys import ScriptedKeys, SeenScreen
from tests.support.hand_bench import BENCHES, hand_on
from tests.support.station_bench import StationBench, small_setup

DONE_S = 40.0
"""Longer than any step takes."""
KEYS = st.sampled_from(["left", "right", "left", "right", "up", "down", "u", "z", "0", "x", "enter"])
PAUSES_S = st.sampled_from([0.05, 0.3, 1.0, DONE_S])


@dataclass
class Model:
    """What the keys should do, in exact numbers: every key is pressed once the part stands still."""

    per_turn: Fraction
    diameter: float
    step: int = USUAL
    by_length: bool = False
    wished: Fraction = Fraction(0)
    zero: int = 0
    is_set: bool = False

    def press(self, key: str) -> None:
        steps = lengths(self.diameter) if self.by_length else ANGLES
        if key in ("left", "right"):
            way, step = (-1 if key == "left" else 1), steps[self.step]
            if step.turns is None:
                self.wished = (self.at + way) / self.per_turn
            else:
                self.wished += way * step.turns
        elif key in ("up", "down"):
            self.step = min(max(self.step + (1 if key == "up" else -1), 0), len(steps) - 1)
        elif key == "u":
            self.by_length = not self.by_length
            self.step = min(self.step, len(lengths(self.diameter) if self.by_length else ANGLES) - 1)
        elif key == "z":
            self.zero, self.wished, self.is_set = self.zero + self.at, Fraction(0), True
        elif key == "0" and self.is_set:
            self.wished = Fraction(0)

    @property
    def at(self) -> int:
        return round(self.wished * self.per_turn)


def within_limits(bench: StationBench, speed: float, acceleration: float, per_turn: Fraction) -> None:
    """The motor's own record: no move is quicker on average, and none shorter than its ramps allow."""
    per_step = 2 * math.pi / float(per_turn)
    for travel in bench.device.motion_log[bench.motion_before :]:
        way, took_s = abs(travel.to_steps - travel.from_steps) * per_step, travel.end_s - travel.start_s
        assert way <= speed * took_s + 1.01 * per_step
        # a ramp up and one down at this acceleration can't bring it farther in that time
        assert way <= acceleration * took_s**2 / 4 * 1.01 + 1.01 * per_step


@pytest.mark.some(1)
@pytest.mark.parametrize("dialect", BENCHES)
@pytest.mark.parametrize("job", ["shaft-scale", "tumbler-wrap"])
@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(keys=st.lists(KEYS, min_size=1, max_size=8))
def test_keys_one_after_the_other_land_where_exact_numbers_say(
    dialect: str, job: str, keys: list[str], tmp_path_factory: pytest.TempPathFactory
) -> None:
    bench = BENCHES[dialect](tmp_path_factory.mktemp("hand"), small_setup(job))
    away = bench.steps
    with hand_on(bench) as hand:
        model = Model(hand.plan.per_turn, hand.plan.diameter or 0.0)
        for key in keys:
            model.press(key)
        pressed = [(1.0 + count * DONE_S, key) for count, key in enumerate(keys)]
        Session(hand, ScriptedKeys(bench.clock, pressed, len(keys) * DONE_S + 1.0), SeenScreen()).run()
        assert hand.where.microsteps == model.at
        assert bench.steps - away == model.zero + model.at
        within_limits(bench, hand.plan.most_speed, hand.plan.acceleration, hand.plan.per_turn)
    assert bench.gate.opened == []


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(keys=st.lists(st.tuples(PAUSES_S, KEYS), min_size=1, max_size=12))
def test_keys_at_any_instant_leave_it_standing_where_it_says(
    keys: list[tuple[float, str]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    bench = StationBench(tmp_path_factory.mktemp("hand"), small_setup("bottle-band"))
    with hand_on(bench) as hand:
        origin = bench.steps
        at_s, pressed = 1.0, []
        for pause_s, key in keys:
            pressed.append((at_s, key))
            at_s += pause_s
        screen = SeenScreen()
        Session(hand, ScriptedKeys(bench.clock, pressed, at_s + DONE_S), screen).run()
        where = hand.where
        assert not bench.moving
        assert where.still
        assert screen.lines[-1].startswith("STILL")
        if where.zero == "none":
            assert bench.steps - origin == where.microsteps
        within_limits(bench, hand.plan.most_speed, hand.plan.acceleration, hand.plan.per_turn)
    with hand_on(bench) as again:
        assert (again.where.microsteps, again.where.zero) == (where.microsteps, where.zero), "who comes next knows it"
    assert bench.gate.opened == []
