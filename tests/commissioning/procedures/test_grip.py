"""From which acceleration a part creeps on its rollers, on machines whose friction is hidden."""

from __future__ import annotations

import math
import random
import shutil
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import cast

import numpy as np
import pytest

from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.motion.creeping import WAY
from firmware_host.commissioning.procedures.motion.crept import grips
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.write_back import write_back
from firmware_host.errors import LimitExceededError
from firmware_host.folders import shipped_folder
from firmware_host.mechanics.contact.rollers import Ramp, grip_acceleration
from firmware_host.model import Setup, load_job
from firmware_host.model.files.loading import load_machine
from firmware_host.planning.by_hand import hand_on_job
from firmware_host.planning.limit_report import check_limits
from firmware_host.planning.limits.accept import stopping
from firmware_host.planning.load.case import load_case
from firmware_host.simulator.device import Stretch
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.simulator.true_machine.integrate import State
from firmware_host.station.hand.hand import Hand
from tests.commissioning.hidden.hands import QuickHand, bench_of
from tests.commissioning.hidden.machines import Hidden
from tests.commissioning.sliding import Following, Rolling, drawn_rolling, gripping, held

MACHINES = 60
BOTTLE = "bottle-band"


@cache
def bottle(friction: float) -> Rolling:
    """The bottle of the shipped job on rollers of that hidden friction, without an imbalance."""
    setup = load_job(BOTTLE)
    trough = load_case(setup.machine, setup.job).trough
    assert trough is not None
    part = {"mass": f"{trough.mass} kg", "inertia": f"{trough.part_inertia} kg*m^2"}
    hidden = Hidden(slip=0.004, tables={"slip": {"friction": friction}, "part": part})
    slides_from = grip_acceleration(trough, friction, ramp=Ramp.UP)
    return Rolling(setup, hand_on_job(setup), hidden, friction, slides_from)


def written(rolling: Rolling, friction: Finding) -> Setup:
    """The machine with what was found in its file."""
    assert friction.change is not None
    return rolling.setup.with_values({each.key: each.value for each in (friction.change, *friction.also)})


def test_the_hidden_friction_is_found(tmp_path: Path) -> None:
    rolling = bottle(0.18)
    found, hand, person = gripping(rolling, 1, tmp_path)
    assert list(found) == ["slip", "creep-acceleration", "grip-friction"]
    assert found["slip"].measured.lowest <= 0.4 <= found["slip"].measured.highest
    begins, friction = found["creep-acceleration"], found["grip-friction"]
    assert begins.measured.lowest <= math.degrees(rolling.slides_from) <= begins.measured.highest
    assert friction.measured.lowest <= 0.18 <= friction.measured.highest
    assert friction.measured.within < 0.1 * 0.18
    assert friction.verdict == "change"
    assert (friction.planned, begins.planned) == ((0.35, 0.35), pytest.approx((860, 860), rel=0.01))
    assert friction.change is not None
    assert friction.change.key == "drive.friction"
    assert [each.key for each in friction.also] == ["tolerances.friction"]
    assert any(line.startswith("It crept by ") for line in person.told)
    assert "by which" not in begins.sentence
    assert "0.35" in begins.sentence
    assert len(person.asked) < 35
    keeps_the_limits(rolling, hand)
    with pytest.raises(LimitExceededError, match="grip"):  # with its reserve it does not even keep the bottle turning
        hand_on_job(written(rolling, friction))


def keeps_the_limits(rolling: Rolling, hand: QuickHand) -> None:
    """Every move, at the pace and of the length that was commanded, keeps what `limits` computes."""
    per_turn = float(rolling.plan.per_turn)
    paces = {(abs(each.microsteps), each.acceleration, each.speed) for each in hand.moves}
    assert len(paces) > 5
    assert max(each.acceleration for each in hand.moves) <= rolling.plan.quickest(WAY).acceleration * (1 + 1e-9)
    for microsteps, acceleration, speed in {(round(a, -1), b, c) for a, b, c in paces}:
        report = check_limits(
            rolling.setup.machine,
            rolling.setup.job,
            index_turns=np.array([microsteps / per_turn]),
            speed=speed,
            acceleration=acceleration,
        )
        assert [check.name for check in stopping(report.checks)] == [], (microsteps, acceleration, speed)


def test_rollers_that_grip_as_stated_show_no_creep_up_to_what_limits_allow(tmp_path: Path) -> None:
    rolling = bottle(0.35)
    found, hand, _ = gripping(rolling, 1, tmp_path)
    begins = found["creep-acceleration"]
    assert list(found) == ["slip", "creep-acceleration"]
    assert (begins.verdict, begins.change) == ("as stated", None)
    quickest = rolling.plan.quickest(WAY).acceleration
    assert max(each.acceleration for each in hand.moves) == pytest.approx(quickest)
    assert begins.measured.highest == pytest.approx(math.degrees(quickest))
    assert begins.measured.lowest < begins.measured.highest
    least = float(begins.sentence.split("friction of ")[1].split(":")[0])
    assert 0.14 < least < 0.35


def test_a_part_that_creeps_at_anything_has_nothing_to_store(tmp_path: Path) -> None:
    found = gripping(bottle(0.1455), 1, tmp_path)[0]
    begins = found["creep-acceleration"]
    assert begins.verdict == "change"
    assert begins.change is None
    assert "oil or soap" in begins.sentence


class LosingSteps(Following):
    """Its rotor falls four full steps behind, as a pole catches it, in each motion that speeds up quickly."""

    lost = 0

    def _moved(self, state: State, group: list[Stretch]) -> State:  # type: ignore[override]
        first = group[0]
        gain = abs(first.last_rate - first.first_rate) / first.duration_s * self._part_turns
        if gain > 0.7 * bottle(0.35).plan.quickest(WAY).acceleration:
            self.lost += round(math.copysign(4 * self.machine.driver.microsteps, first.last))
        return super()._moved(state, group).turned(-self.lost * self.rotor.pulse)


def test_lost_steps_are_told_from_creep(tmp_path: Path) -> None:
    """The line on the driven roller is off as well."""
    found = gripping(bottle(0.35), 1, tmp_path, LosingSteps)[0]
    begins = found["creep-acceleration"]
    assert begins.name.startswith("steps are lost")
    assert "Measure ramp first" in begins.sentence
    assert begins.change is None


def test_the_plans_own_grip_is_turned_round_exactly() -> None:
    """What is needed at the acceleration at which a friction is used up is that friction, tilted rollers or level."""
    for values in ({}, {"axis.tilt": "0.5 deg"}, {"drive.driven_rows": 2}):
        rolling = bottle(0.18)
        setup = rolling.setup.with_values(values)
        hand = QuickHand(hand_on_job(setup), rolling.hidden.axis(rolling.setup, random.Random(1)))
        of = grips(bench_of(cast("Hand", hand), "grip"))
        assert of is not None
        assert of.stated == pytest.approx(0.35)
        for friction in (0.2, 0.3, of.stated):
            assert of.needed(of.acceleration(friction)) == pytest.approx(friction, rel=1e-6)


def test_without_leave_to_write_settings_or_a_job_only_the_steady_creep_is_measured(tmp_path: Path) -> None:
    rolling = bottle(0.35)
    hand = QuickHand(rolling.plan, rolling.hidden.axis(rolling.setup, random.Random(1)))
    bench = bench_of(cast("Hand", hand), "grip")
    procedure = procedure_named("grip")
    assert "CAUTION" not in procedure.moves(bench)
    assert "CAUTION" in procedure.moves(replace(bench, paced=True))
    assert "CAUTION" not in procedure.moves(replace(bench, paced=True, setup=None))


def test_what_was_found_is_written_with_how_well_it_is_known(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    shutil.copy(shipped_folder() / "machines" / "two-rollers.toml", path)
    friction = gripping(bottle(0.18), 1, tmp_path)[0]["grip-friction"]
    done = write_back(path, friction, datetime(2026, 5, 4, tzinfo=UTC))
    assert (done.key, done.before) == ("drive.friction", "0.35")
    machine = load_machine(str(path))
    cradle = machine.drive.cradle
    assert cradle is not None
    assert cradle.friction is not None
    assert cradle.friction == pytest.approx(friction.measured.value, rel=5e-3)
    assert machine.tolerances.friction == pytest.approx(friction.measured.within / friction.measured.value, rel=0.1)


@pytest.mark.slow
def test_a_rotor_that_swings_shows_the_same(tmp_path: Path) -> None:
    """The rotor integrated on its torque curve; the others follow their pulses."""
    swinging, following = (gripping(bottle(0.18), 1, tmp_path / name, axis)[0] for name, axis in AXES.items())
    assert list(swinging) == list(following)
    for key in ("creep-acceleration", "grip-friction"):
        assert swinging[key].measured.value == pytest.approx(following[key].measured.value, rel=1e-6)


AXES = {"swinging": TrueAxis, "following": Following}


@pytest.mark.parametrize(
    "seeds", [pytest.param((0, 3, 4), id="3"), pytest.param(range(MACHINES), id="60", marks=pytest.mark.slow)]
)
def test_the_intervals_hold_the_hidden_friction_and_its_acceleration(seeds: Sequence[int], tmp_path: Path) -> None:
    """One row driven and both, with an imbalance and without; each slides somewhere in what limits allow."""
    cases = [case for seed in seeds for case in held(seed, tmp_path)]
    few = len(seeds) < MACHINES
    for key in ("creep-acceleration", "grip-friction"):
        of = [case for case in cases if case.quantity == key]
        assert len(of) >= (len(seeds) if few else 0.8 * len(seeds))
        assert sum(case.holds for case in of) >= (1.0 if few else 0.9) * len(of)
        assert sorted(case.within / case.true for case in of)[len(of) // 2] < 0.12


def test_every_move_keeps_the_limits_and_the_plan_then_keeps_below_what_was_found(tmp_path: Path) -> None:
    rolling = drawn_rolling(11)
    found, hand, _ = gripping(rolling, 11, tmp_path)
    keeps_the_limits(rolling, hand)
    planned = hand_on_job(written(rolling, found["grip-friction"]))
    assert rolling.plan.acceleration > 1.2 * planned.acceleration
    assert planned.acceleration < 0.7 * rolling.slides_from  # the reserve, and how far the part swings
