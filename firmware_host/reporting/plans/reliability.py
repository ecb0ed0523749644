"""How reliable a job is, as a section of a document."""

from __future__ import annotations

import math

from firmware_host.planning.reliability.chance import CONFIDENCE, NARROWLY_SURE, SURE_ENOUGH, Chance
from firmware_host.planning.reliability.estimate import Influence, Reliability
from firmware_host.planning.reliability.improvement import MEASURED, Better
from firmware_host.reporting.document import Cell, Column, Figure, Notes, Row, Section, Table
from firmware_host.reporting.plans.reliability_advice import decisive_lines, measuring_lines

_CHANCE = (Column("probability", "probability", form=".5g"), Column("interval", "interval"))
_PART_COLUMNS = (Column("name", "what holds"), *_CHANCE)
_MEASURED_COLUMNS = (Column("inputs", "confirmed by measuring"), Column("verdict", "verdict"), *_CHANCE)
_INPUT_COLUMNS = (
    Column("name", "uncertain datum"),
    Column("lowest_factor", "from", form=".4g"),
    Column("highest_factor", "to", form=".4g"),
    Column("source", "range from"),
    Column("share_of_variance", "share of the doubt", form="%"),
)
_PERCENTILES = (("p5", "5 % of draws below"), ("p50", "median"), ("p95", "5 % of draws above"))


def reliability_section(found: Reliability) -> Section:
    """The verdict with its probability, what it is based on, which datum decides, and what would help."""
    chance = found.chance
    return Section(
        "reliability",
        "",
        (
            Figure("verdict", "Reliability", found.verdict),
            Figure(
                "probability",
                "No step is lost and nothing slips with probability",
                chance.probability,
                form=".5g",
                brief=True,
            ),
            Figure(
                "interval",
                "Interval of that probability",
                chance.interval,
                brief=True,
                text=_interval(chance),
            ),
            Figure("confidence", "Confidence of an interval", CONFIDENCE, form="%"),
            Figure("interval_method", "Method of an interval", "Wilson"),
            Table("parts", "Probabilities", _PART_COLUMNS, tuple((part.name, *_chance(part)) for part in found.parts)),
            _margins(found.margins),
            Table("inputs", "Uncertain data", _INPUT_COLUMNS, tuple(map(_influence, found.influences))),
            Notes(decisive_lines(found)),
            _better(found.better),
            Figure("draws", "Draws", found.draws),
            Figure("seed", "Seed", found.seed),
            Notes((_method(found),)),
        ),
    )


def _chance(chance: Chance) -> Row:
    return (chance.probability, Cell(chance.interval, _interval(chance)))


def _interval(chance: Chance) -> str:
    low, high = chance.interval
    return f"{low:.5f} to {high:.5f}"


def _margins(margins: tuple[float, float, float]) -> Section:
    pairs = zip(_PERCENTILES, margins, strict=True)
    nodes = tuple(Figure(key, label, margin, form="%", brief=True) for (key, label), margin in pairs)
    return Section("margins", "Smallest margin, without a safety factor", nodes)


def _influence(influence: Influence) -> Row:
    drawn = influence.input
    factors = (drawn.factors.lowest, drawn.factors.highest)
    low, high = (Cell(factor, f"{100 * (factor - 1):+.3g} %") for factor in factors)
    return (drawn.name, low, high, drawn.source, influence.share)


def _better(better: Better | None) -> Section:
    if better is None:
        return Section("better", "", None)
    gentler = None if better.acceleration is None else math.degrees(better.acceleration)
    none = "none, not even a fiftieth of the planned one"
    rows = tuple((step.names, step.chance.verdict, *_chance(step.chance)) for step in better.measured)
    return Section(
        "better",
        "",
        (
            Figure("measured_within", "By measuring a datum is known to within", MEASURED, form="%"),
            Table("measured", f"Confirmed to within {100 * MEASURED:g} % by measuring", _MEASURED_COLUMNS, rows),
            Notes(measuring_lines(better)),
            Figure(
                "acceleration_deg_per_s2",
                "Without measuring, index.acceleration holds on the data as they are up to",
                gentler,
                "" if gentler is None else "deg/s^2",
                text=none if gentler is None else f"{_rounded_down(gentler):g}",
                brief=True,
            ),
        ),
    )


def _method(found: Reliability) -> str:
    return (
        f"{found.draws} draws, seed {found.seed}; each datum anywhere in its range alike (JCGM 101:2008, 6.4.2); "
        f"{100 * CONFIDENCE:.0f} % interval by Wilson; shares are correlation ratios (first order). "
        f"By the interval's lower end: holds from {SURE_ENOUGH:g}, narrowly from {NARROWLY_SURE:g}."
    )


def _rounded_down(value: float) -> float:
    """To two figures, not above."""
    step: float = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.floor(value / step) * step
