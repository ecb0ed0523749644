"""Every move that a procedure commands keeps what `limits` computes: as it came from the board, not as it was asked."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from firmware_host.commissioning.procedures.base import Procedure
from firmware_host.commissioning.procedures.registry import PROCEDURES
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import carry_out
from firmware_host.errors import FormulaRangeError, InputError
from firmware_host.planning.limit_report import check_limits
from firmware_host.planning.limits.accept import stopping
from firmware_host.simulator.device import Follower, Stretch
from firmware_host.simulator.true_machine.axis import TrueAxis
from tests.commissioning.hidden.drawn import Drawn, drawn_machine
from tests.commissioning.hidden.hands import bench_of, hidden_hand
from tests.commissioning.hidden.person import Reader
from tests.support.station_bench import StationBench, quick_disk

_ROUNDED = 1e-3
"""A board holds its acceleration to three decimals."""


class Made(NamedTuple):
    """A move as the board made it: pulses, the most pulses/s^2 and pulses/s on the way."""

    pulses: float
    acceleration: float
    speed: float


class Recorder(Follower):
    """Notes every motion of the board, and passes it on."""

    def __init__(self, axis: TrueAxis) -> None:
        self._axis = axis
        self.made: list[Made] = []

    def follow(self, stretches: Sequence[Stretch]) -> None:
        gains = (abs(each.last_rate - each.first_rate) / each.duration_s for each in stretches)
        rates = (max(abs(each.first_rate), abs(each.last_rate)) for each in stretches)
        pulses = sum(abs(each.last - each.first) for each in stretches)
        self.made.append(Made(round(pulses), max(gains), max(rates)))
        self._axis.follow(stretches)


class Anybody(Reader):
    """Reads what it can, and says something to everything else: moves are looked at, not findings."""

    def answer(self, ask: Ask) -> Answer:
        try:
            return super().answer(ask)
        except (NotImplementedError, LookupError):
            return ask.choices[0] if ask.choices else _SAID.get(ask.kind, 1.0)


_SAID = {
    "length": 0.01,
    "time": 1.0,
    "mass": 0.2,
    "torque": 0.1,
    "current": 0.5,
    "resistance": 1.0,
}


def over_the_limits(drawn: Drawn, made: Made) -> list[str]:
    """The limits that a move does not keep."""
    part = 2 * math.pi / float(drawn.plan.per_turn)
    report = check_limits(
        drawn.setup.machine,
        drawn.setup.job,
        index_turns=np.array([made.pulses / float(drawn.plan.per_turn)]),
        speed=made.speed * part * (1 - _ROUNDED),
        acceleration=made.acceleration * part * (1 - _ROUNDED),
    )
    return [check.name for check in stopping(report.checks)]


def commanded(procedure: Procedure, drawn: Drawn, folder: Path) -> list[Made]:
    """Carry it out behind a board; every motion that the board made."""
    bench, rng = StationBench(folder, drawn.setup), random.Random(1)
    axis = drawn.hidden.axis(drawn.setup, rng)
    with (
        hidden_hand(bench, drawn.plan, axis, folder / "before.json") as hand,
        Record(folder / "kept.jsonl", "m", bench.clock) as record,
    ):
        recorder = Recorder(axis)
        bench.device.followed_by(bench.axis, recorder)
        wished = bench_of(hand, procedure.key, repeats=max(procedure.fewest, 3), turns=1)
        try:
            carry_out(procedure, wished, hand, Anybody(axis, hand, rng, way_to_read="film"), record)
        except (InputError, FormulaRangeError):
            pass  # what the machine can't have, or readings that fit nothing: what moved until then counts
    return recorder.made


_QUICK = (300, 301, 302)
_LONG = ("warm-up", "ramp", "grip")
"""Turn to and fro for an hour, and a hundred times and more: on the other machines (pytest -m slow).

That `grip` keeps the limits is tried each time in `procedures/test_grip.py`.
"""


@pytest.mark.some(1)
@pytest.mark.parametrize("seed", [*_QUICK, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(303, 363))])
def test_no_procedure_commands_a_move_beyond_the_limits(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_disk(monkeypatch)
    drawn = drawn_machine(seed)
    seen: dict[Made, list[str]] = {}
    for procedure in PROCEDURES:
        if procedure.asks_only:  # it is carried out at a line that has no word for a move
            continue
        if procedure.key in _LONG and seed in _QUICK:
            continue
        folder = tmp_path / procedure.key
        folder.mkdir()
        for made in commanded(procedure, drawn, folder):
            exact = Made(made.pulses, float(f"{made.acceleration:.6g}"), float(f"{made.speed:.6g}"))
            if exact not in seen:
                seen[exact] = over_the_limits(drawn, exact)
            assert seen[exact] == [], f"{procedure.key}: {made} on {drawn.setup.machine.name}"
    assert len(seen) > 3


def test_a_move_that_is_quicker_than_allowed_is_seen() -> None:
    drawn = drawn_machine(300)
    part = 2 * math.pi / float(drawn.plan.per_turn)
    pulses = float(drawn.plan.per_turn) / 8
    allowed = Made(pulses, drawn.plan.acceleration / part, drawn.plan.speed(round(pulses)) / part)
    assert over_the_limits(drawn, allowed) == []
    assert over_the_limits(drawn, allowed._replace(acceleration=100 * allowed.acceleration)) != []
