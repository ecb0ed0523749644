"""Motors compared on a job, as a document."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from firmware_host.model.machine.motor import Motor
from firmware_host.planning.compare.motors import MotorCandidate
from firmware_host.reporting.assumptions import accepted_notes
from firmware_host.reporting.document import Cell, Column, Document, Notes, Row, Table
from firmware_host.reporting.plans.first.motors import first_of_motors
from firmware_host.reporting.plans.limits import ESTIMATE

_COST_COLUMNS = (Column("limit", "limit"), Column("index_s_without", "index", "s", ".3f"))
_COLUMNS = (
    Column("name", "motor"),
    Column("description", "description", brief=False),
    Column("frame", "frame", brief=False),
    Column("data", "figures from", brief=False),
    Column("current", "current"),
    Column("verdict", "verdict"),
    Column("reasons", "because of", brief=False),
    Column("not_known", "not known", brief=False),
    Column("assumed", "assumed", brief=False),
    Column("details", "details", below=True),
    Column("torque_margin", "torque", form="%"),
    Column("index_s", "index", "s", ".3f"),
    Column("move_s", "move", "s", ".3f", brief=False),
    Column("settle_s", "settle", "s", ".3f"),
    Column("speed_deg_per_s", "speed", "deg/s", ".3f", brief=False),
    Column("acceleration_deg_per_s2", "acceleration", "deg/s^2", ".3f", brief=False),
    Column("binding", "stopped by", brief=False),
    Column("costs", "index without", "s", below=False),
    Column("pareto", "best"),
)
_MEANING = Notes(
    (
        "The driver is set to each motor's rated current, at most to driver.highest_current; all else as in the files.",
        "index s: an average index with its settling, at that motor's own quickest safe motion. "
        "without a limit: the same with that limit alone lifted tenfold (ringing: the move without its settling).",
        "on what is known: data of the motor are missing; what a range bounds is taken at its worst, the rest is told "
        "as not known.",
        "best *: no other motor that nothing stops is both quicker and further from its torque limit.",
    )
)


def motors_document(
    candidates: Sequence[MotorCandidate], accept: Mapping[str, str] | None = None, present: Motor | None = None
) -> Document:
    """One row per motor, those that hold first, the quickest of them first; `accept`: what the job accepts.

    `present`: the motor that the machine has.
    """
    table = Table("motors", "Motors", _COLUMNS, tuple(map(_row, candidates)))
    return Document(
        (table, accepted_notes(accept, "accepted"), _MEANING, ESTIMATE),
        first=first_of_motors(candidates, accept, present),
    )


def _row(each: MotorCandidate) -> Row:
    motion, timing = each.motion, each.timing
    return (
        each.name,
        each.motor.name,
        each.motor.frame,
        each.motor.data,
        each.current_text,
        Cell(each.verdict, f"{each.verdict}{', on what is known' if each.on_what_is_known else ''}"),
        each.reasons,
        each.not_known,
        each.assumed,
        each.details,
        each.torque_margin,
        timing.index_s if timing is not None else None,
        timing.move_s if timing is not None else None,
        timing.settle_s if timing is not None else None,
        math.degrees(motion.speed) if motion is not None else None,
        math.degrees(motion.acceleration) if motion is not None else None,
        motion.binding if motion is not None else (),
        Table("", "", _COST_COLUMNS, tuple((cost.name, cost.index_s) for cost in each.costs)),
        Cell(each.best, "*" if each.best else ""),
    )
