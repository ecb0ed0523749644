"""How sure a job is, as a table, in words, and as a JSON document."""

from __future__ import annotations

import math
from typing import Any

from rich.table import Table

from firmware_host.planning.reliability.chance import CONFIDENCE, NARROWLY_SURE, SURE_ENOUGH, Chance
from firmware_host.planning.reliability.estimate import Reliability
from firmware_host.planning.reliability.improvement import MEASURED, Better
from firmware_host.reporting.reliability_advice import advice_lines, probability
from firmware_host.reporting.table_parts import percent, plain_table

_LEFT = frozenset({"uncertain datum", "range from"})


def reliability_table(sure: Reliability) -> Table:
    """The uncertain data with their ranges, the one that matters most first."""
    table = plain_table(
        "Uncertain data", "uncertain datum", "from", "to", "share of the doubt", "range from", left=_LEFT
    )
    for influence in sure.influences:
        drawn = influence.input
        low, high = (f"{100 * (factor - 1):+.3g} %" for factor in (drawn.factors.lowest, drawn.factors.highest))
        table.add_row(drawn.name, low, high, percent(influence.share), drawn.source)
    return table


def reliability_lines(sure: Reliability) -> list[str]:
    """The verdict with its probability, and what it rests on."""
    if sure.chance is None or sure.margins is None:
        return [f"Reliability: {sure.verdict.value}. Give {', '.join(sure.missing)}."]
    low, middle, high = (percent(margin) for margin in sure.margins)
    lines = [
        f"Reliability: {sure.verdict.value}. "
        f"No step is lost and nothing slips with probability {probability(sure.chance)}.",
        *(f"  {chance.name}: {probability(chance)}" for chance in sure.parts),
        f"  smallest margin, without a safety factor: median {middle}; 5 % of draws below {low}, 5 % above {high}.",
    ]
    lines += advice_lines(sure)
    lines.append(
        f"  {sure.draws} draws, seed {sure.seed}; each datum anywhere in its range alike (JCGM 101:2008, 6.4.2); "
        f"{100 * CONFIDENCE:.0f} % interval by Wilson; shares are correlation ratios (first order). "
        f"By the interval's lower end: holds from {SURE_ENOUGH:g}, narrowly from {NARROWLY_SURE:g}."
    )
    return lines


def reliability_document(sure: Reliability) -> dict[str, Any]:
    """The value of the key `reliability` of `limits --reliability --json`."""
    return {
        "verdict": sure.verdict.value,
        **_chance(sure.chance),
        "confidence": CONFIDENCE,
        "interval_method": "Wilson",
        "parts": [{"name": chance.name, **_chance(chance)} for chance in sure.parts],
        "margins": None if sure.margins is None else dict(zip(("p5", "p50", "p95"), sure.margins, strict=True)),
        "inputs": [
            {
                "name": each.input.name,
                "lowest_factor": each.input.factors.lowest,
                "highest_factor": each.input.factors.highest,
                "source": each.input.source,
                "share_of_variance": each.share,
            }
            for each in sure.influences
        ],
        "better": None if sure.better is None else _better(sure.better),
        "draws": sure.draws,
        "seed": sure.seed,
        "missing": list(sure.missing),
    }


def _chance(chance: Chance | None) -> dict[str, Any]:
    if chance is None:
        return {"probability": None, "interval": None}
    return {"probability": chance.probability, "interval": list(chance.interval)}


def _better(better: Better) -> dict[str, Any]:
    acceleration = better.acceleration
    return {
        "measured_within": MEASURED,
        "measured": [
            {"inputs": list(step.names), "verdict": step.chance.verdict.value, **_chance(step.chance)}
            for step in better.measured
        ],
        "acceleration_deg_per_s2": None if acceleration is None else math.degrees(acceleration),
    }
