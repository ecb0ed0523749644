"""Motors compared on a job: a table, words, JSON and CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

from rich.markup import escape
from rich.table import Table

from firmware_host.planning.compare.motors import MotorCandidate
from firmware_host.planning.limits.report import Verdict
from firmware_host.reporting.table_parts import number, percent, plain_table, verdict_text

_LEFT = frozenset({"motor", "current", "verdict", "because of", "without a limit, s", "best"})


def motor_table(candidates: Sequence[MotorCandidate]) -> Table:
    """One row per motor, those that hold first, the quickest of them first."""
    columns = ("best", "motor", "current", "verdict", "torque margin", "index s", "settle s")
    table = plain_table("Motors", *columns, "without a limit, s", "because of", left=_LEFT)
    for each in candidates:
        timing = each.timing
        table.add_row(
            "*" if each.best else "",
            escape(each.name),
            each.current_text,
            verdict_text(each.verdict),
            percent(each.torque_margin),
            number(timing.index_s if timing is not None else None),
            number(timing.settle_s if timing is not None else None),
            ", ".join(f"{cost.name} {cost.index_s:.4g}" for cost in each.costs) or "-",
            ", ".join(each.reasons) or "-",
        )
    return table


def motor_lines(candidates: Sequence[MotorCandidate]) -> list[str]:
    """What the table means, and more words on every motor that fails or isn't known."""
    lines = [
        "The driver is set to each motor's rated current, at most to driver.highest_current; all else as in the files.",
        "index s: an average index with its settling, at that motor's own quickest safe motion. "
        "without a limit: the same with that limit alone lifted tenfold (ringing: the move without its settling).",
        "* no other motor that holds is both quicker and further from its torque limit.",
    ]
    told = (Verdict.FAILS, Verdict.NOT_KNOWN)
    lines += [f"  {each.name}: {detail}" for each in candidates if each.verdict in told for detail in each.details]
    lines.append("An estimate from the data given: prove it on the machine, first without the laser.")
    return lines


def motors_document(candidates: Sequence[MotorCandidate]) -> dict[str, Any]:
    """The document of `motors --json`."""
    return {"motors": [_document(each) for each in candidates]}


def motors_csv(candidates: Sequence[MotorCandidate]) -> str:
    """The rows as CSV (RFC 4180) with a header line; lists are joined by semicolons, what isn't known is empty."""
    out = io.StringIO(newline="")
    rows = [_flat(_document(each)) for each in candidates]
    writer = csv.DictWriter(out, list(rows[0]) if rows else ["name"])
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _document(each: MotorCandidate) -> dict[str, Any]:
    motion, timing = each.motion, each.timing
    return {
        "name": each.name,
        "description": each.motor.name,
        "current": each.current_text,
        "verdict": each.verdict.value,
        "reasons": list(each.reasons),
        "details": list(each.details),
        "torque_margin": each.torque_margin,
        "index_s": timing.index_s if timing is not None else None,
        "move_s": timing.move_s if timing is not None else None,
        "settle_s": timing.settle_s if timing is not None else None,
        "speed_deg_per_s": math.degrees(motion.speed) if motion is not None else None,
        "acceleration_deg_per_s2": math.degrees(motion.acceleration) if motion is not None else None,
        "binding": list(motion.binding) if motion is not None else [],
        "costs": [{"limit": cost.name, "index_s_without": cost.index_s} for cost in each.costs],
        "pareto": each.best,
    }


def _flat(row: dict[str, Any]) -> dict[str, Any]:
    costs = ";".join(f"{cost['limit']}={cost['index_s_without']}" for cost in row["costs"])
    lists = {key: ";".join(row[key]) for key in ("reasons", "details", "binding")}
    return row | lists | {"costs": costs}
