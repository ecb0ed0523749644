"""How sure it is that a job's indexes lose no step and slip nowhere, and which datum that hangs on most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_host.errors import InputError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.uncertainty import FactorRange, correlation_ratio, rectangular_factors, wilson_interval
from firmware_host.model.loading import Setup
from firmware_host.planning.index_moves import index_moves
from firmware_host.planning.limit_case import IndexExtremes
from firmware_host.planning.limit_report import Verdict
from firmware_host.planning.limits import index_extremes
from firmware_host.planning.load import LoadCase, load_case
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.sureness_draws import GRIP, HOLDING, MOVING, IndexDraws
from firmware_host.planning.sureness_inputs import UncertainInput, uncertain_inputs

DEFAULT_DRAWS = 100_000
MOST_DRAWS = 2_000_000
DEFAULT_SEED = 1
CONFIDENCE = 0.95

SURE_ENOUGH = 0.999
"""From this probability on a job holds: one index machine in a thousand may fail. Common practice, no source."""

NARROWLY_SURE = 0.95
"""From this probability on it holds narrowly; below it fails. Common practice, no source."""

_BLOCK = 50_000
_HAPPENINGS = {"no-step-lost": (MOVING, HOLDING), "no-slip": (GRIP,)}


@dataclass(frozen=True, slots=True)
class Chance:
    """A `probability` (0 to 1), and the `interval` that holds it with 95 % confidence (Wilson)."""

    name: str
    probability: float
    interval: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Influence:
    """An input with its `share` (0 to 1) of the variance of the smallest margin, first order."""

    input: UncertainInput
    share: float


@dataclass(frozen=True, slots=True)
class Sureness:
    """What the draws say.

    `chance`: that nothing fails, None where `missing` data leave it unknown; `parts`: of no step lost, and on rollers
    of no slip. `margins`: the smallest margin ((limit - value)/limit) that 5 %, 50 % and 95 % of the draws don't
    exceed. `influences`: largest first; what they leave of 1 is due to inputs acting together.
    """

    verdict: Verdict
    chance: Chance | None
    parts: tuple[Chance, ...]
    margins: tuple[float, float, float] | None
    influences: tuple[Influence, ...]
    draws: int
    seed: int
    missing: tuple[str, ...]


def sureness(setup: Setup, plan: JobPlan, *, draws: int = DEFAULT_DRAWS, seed: int = DEFAULT_SEED) -> Sureness:
    """Monte Carlo of the plan's motion over `uncertain_inputs`: `draws` machines, each datum anywhere in its range.

    A draw holds if the peak torque stays below the pull-out torque (no safety factor: the draws stand in for it), the
    standstill torque holds the imbalance, and the driven rollers grip. The ringing counts with the plan's worst phase
    in every draw, so the probability errs low. The same seed gives the same answer.

    Verdict by the lower end of the interval: holds from `SURE_ENOUGH`, holds narrowly from `NARROWLY_SURE`, else fails;
    not known if a datum is missing. `InputError` for less than 100 draws or more than `MOST_DRAWS`, or a negative seed.
    """
    if not 100 <= draws <= MOST_DRAWS:
        raise InputError(f"{draws} draws", f"Draw from 100 to {MOST_DRAWS} times", key="draws")
    if seed < 0:
        raise InputError(f"seed {seed} is negative", "Give 0 or more", key="seed")
    load = load_case(setup.machine, setup.job)
    missing = _missing(load)
    if missing:
        return Sureness(Verdict.NOT_KNOWN, None, (), None, (), draws, seed, missing)
    inputs = uncertain_inputs(setup, load)
    factors = rectangular_factors(np.random.default_rng(seed), draws, tuple(each.factors for each in inputs))
    moves = index_moves(plan.route.index_turns, plan.route.purpose)
    extremes = index_extremes(load, moves, plan.limits.motion)
    margins = _drawn_margins(setup, load, extremes, inputs, factors)
    return _result(inputs, factors, margins, seed)


def _missing(load: LoadCase) -> tuple[str, ...]:
    if load.pull_out_known:
        return load.missing.for_torque
    return (*load.missing.for_torque, "motor.torque_curve, or motor.resistance and motor.inductance")


def _drawn_margins(
    setup: Setup, load: LoadCase, index: IndexExtremes, inputs: tuple[UncertainInput, ...], factors: FloatArray
) -> dict[str, FloatArray]:
    """The margins of every draw by way to fail, block by block to keep the memory small."""
    voltage = next((each.factors for each in inputs if each.name == "supply_voltage"), FactorRange(1.0, 1.0))
    machines = IndexDraws(setup, load, index, voltage)
    blocks = [
        machines.margins(dict(zip((each.name for each in inputs), factors[:, start : start + _BLOCK], strict=True)))
        for start in range(0, factors.shape[1], _BLOCK)
    ]
    return {name: np.concatenate([block[name] for block in blocks]) for name in blocks[0]}


def _result(
    inputs: tuple[UncertainInput, ...], factors: FloatArray, margins: dict[str, FloatArray], seed: int
) -> Sureness:
    smallest = np.minimum.reduce(list(margins.values()))
    parts = tuple(
        _chance(name, np.minimum.reduce([margins[way] for way in ways]))
        for name, ways in _HAPPENINGS.items()
        if set(ways) <= set(margins)
    )
    chance = _chance("all", smallest)
    shares = [Influence(each, correlation_ratio(drawn, smallest)) for each, drawn in zip(inputs, factors, strict=True)]
    low, middle, high = (float(part) for part in np.quantile(smallest, (0.05, 0.5, 0.95)))
    return Sureness(
        verdict=_verdict(chance),
        chance=chance,
        parts=parts,
        margins=(low, middle, high),
        influences=tuple(sorted(shares, key=lambda each: -each.share)),
        draws=smallest.size,
        seed=seed,
        missing=(),
    )


def _chance(name: str, margins: FloatArray) -> Chance:
    held = int((margins >= 0).sum())
    return Chance(name, held / margins.size, wilson_interval(held, margins.size, CONFIDENCE))


def _verdict(chance: Chance) -> Verdict:
    low = chance.interval[0]
    if low >= SURE_ENOUGH:
        return Verdict.HOLDS
    return Verdict.NARROW if low >= NARROWLY_SURE else Verdict.FAILS
