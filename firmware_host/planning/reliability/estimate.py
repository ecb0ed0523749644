"""The probability that a job's indexes lose no step and slip nowhere, and which datum decides it most."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from firmware_host.errors import InputError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.uncertainty import FactorRange, correlation_ratio, rectangular_factors, wilson_interval
from firmware_host.model.files.loading import Setup
from firmware_host.planning.index.extremes import index_extremes
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.case import IndexExtremes
from firmware_host.planning.limits.check import Verdict, gravest
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase, load_variants
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.reliability.chance import CONFIDENCE, SURE_ENOUGH, Chance, chance_of
from firmware_host.planning.reliability.draws import IndexDraws
from firmware_host.planning.reliability.improvement import MOST_DRAWS as BETTER_DRAWS
from firmware_host.planning.reliability.improvement import Better, better_measured, gentler_acceleration
from firmware_host.planning.reliability.inputs import UncertainInput, uncertain_inputs

DEFAULT_DRAWS = 100_000
MOST_DRAWS = 2_000_000
DEFAULT_SEED = 1
_BLOCK = 50_000


@dataclass(frozen=True, slots=True)
class Influence:
    """An input with its `share` (0 to 1) of the variance of the smallest margin, first order."""

    input: UncertainInput
    share: float


@dataclass(frozen=True, slots=True)
class Reliability:
    """What the draws say.

    `chance`: that nothing fails; `parts`: of no step lost, and on rollers
    of no slip. `margins`: the smallest margin ((limit - value)/limit) that 5 %, 50 % and 95 % of the draws don't
    exceed. `influences`: largest first; what they leave of 1 is due to inputs acting together. `better`: what would
    make it hold; None where it does, or where so few draws could never tell.
    """

    verdict: Verdict
    chance: Chance
    parts: tuple[Chance, ...]
    margins: tuple[float, float, float]
    influences: tuple[Influence, ...]
    draws: int
    seed: int
    better: Better | None = None


def common_verdict(report: LimitReport, found: Reliability | None) -> Verdict:
    """The one verdict of a job: the graver of that of its limits and that of its reliability, if that was asked for."""
    return gravest(report.verdict, *(() if found is None else (found.verdict,)))


def reliability(
    setup: Setup, plan: JobPlan, *, draws: int = DEFAULT_DRAWS, seed: int = DEFAULT_SEED, better: bool = True
) -> Reliability:
    """Monte Carlo of the plan's motion over `uncertain_inputs`: `draws` machines, each datum anywhere in its range.

    A draw holds if every limit does that has a place in the draws (no safety factor: the draws stand in for it): the
    peak torque stays below the pull-out torque, the standstill torque holds the imbalance, the driven rollers grip.
    The ringing counts with the plan's worst phase in every draw, so the probability errs low. The same seed gives the
    same answer.

    Verdict by `Chance.verdict`. What nobody stated is drawn from its range, or stays at its unkind end. Where
    it doesn't hold, `better` says what would help; that takes twenty times as long, and is left out where it is False.
    `InputError` for less than 100 draws or more than `MOST_DRAWS`, or a negative seed.
    """
    if not 100 <= draws <= MOST_DRAWS:
        raise InputError(f"{draws} draws", f"Draw from 100 to {MOST_DRAWS} times", key="draws")
    if seed < 0:
        raise InputError(f"seed {seed} is negative", "Give 0 or more", key="seed")
    unkind = load_variants(setup.machine, setup.job).unkind
    load, described = unkind.load, replace(setup, machine=unkind.machine, job=unkind.job)
    inputs = uncertain_inputs(setup, load)
    factors = rectangular_factors(np.random.default_rng(seed), draws, tuple(each.factors for each in inputs))
    moves = index_moves(plan.route.index_turns, plan.route.purpose)
    motion = plan.limits.motion

    def margins_at(acceleration: float, drawn: FloatArray) -> dict[str, FloatArray]:
        extremes = index_extremes(load, moves, replace(motion, acceleration=acceleration))
        return _drawn_margins(described, load, extremes, inputs, drawn)

    found = _result(inputs, factors, margins_at(motion.acceleration, factors), seed)
    if not better or found.verdict is Verdict.HOLDS or wilson_interval(draws, draws, CONFIDENCE)[0] < SURE_ENOUGH:
        return found
    some = factors[:, :BETTER_DRAWS]
    return replace(found, better=_better(found, inputs, some, motion.acceleration, margins_at))


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


def _better(
    found: Reliability,
    inputs: tuple[UncertainInput, ...],
    factors: FloatArray,
    planned: float,
    margins_at: Callable[[float, FloatArray], dict[str, FloatArray]],
) -> Better:
    """What would make it hold: the data that matter most measured, or a gentler ramp on the data as they are."""
    order = [inputs.index(influence.input) for influence in found.influences]
    back = np.argsort(order)

    def with_known(drawn: FloatArray) -> FloatArray:
        return _smallest(margins_at(planned, drawn[back]))

    measured = better_measured([inputs[row] for row in order], factors[order], with_known)
    return Better(measured, gentler_acceleration(planned, lambda a: _smallest(margins_at(a, factors))))


def _smallest(margins: dict[str, FloatArray]) -> FloatArray:
    return np.asarray(np.minimum.reduce(list(margins.values())))


def _result(
    inputs: tuple[UncertainInput, ...], factors: FloatArray, margins: dict[str, FloatArray], seed: int
) -> Reliability:
    smallest = _smallest(margins)
    ways: dict[str, list[FloatArray]] = {}
    for limit in all_limits():
        if limit.name in margins:
            ways.setdefault(limit.keeps or limit.name, []).append(margins[limit.name])
    parts = tuple(chance_of(name, np.minimum.reduce(found)) for name, found in ways.items())
    chance = chance_of("all", smallest)
    shares = [Influence(each, correlation_ratio(drawn, smallest)) for each, drawn in zip(inputs, factors, strict=True)]
    low, middle, high = (float(part) for part in np.quantile(smallest, (0.05, 0.5, 0.95)))
    return Reliability(
        verdict=chance.verdict,
        chance=chance,
        parts=parts,
        margins=(low, middle, high),
        influences=tuple(sorted(shares, key=lambda each: -each.share)),
        draws=smallest.size,
        seed=seed,
    )
