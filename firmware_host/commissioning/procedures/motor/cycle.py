"""The job's cycle of move and pass, as commissioning turns it to warm the motor, and what the motor loses meanwhile."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from firmware_host.commissioning.procedures.base import Bench
from firmware_host.mechanics.motor.heat import cycle_loss
from firmware_host.model import Machine
from firmware_host.planning.assume.complete import with_value
from firmware_host.planning.assume.motor import iron_assumptions, motor_assumptions
from firmware_host.planning.by_hand import CALM
from firmware_host.planning.limits.motor.heat import holding_time
from firmware_host.planning.load.supply import Losses, losses_of
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.planning.route.moves import Purpose
from firmware_host.planning.route.velocity import plan_index

USUAL_PAUSE_S = 5.0
"""A pass that nobody states takes so long (s): common practice, no source."""
RESISTANCE_WITHIN, CURRENT_WITHIN = 0.10, 0.05
"""How well a data sheet's resistance and a driver's set current are known, plus-minus: common practice, no source."""


@dataclass(frozen=True)
class Cycle:
    """`by`: a move (turns of the part; 0: it only stands); `pause` (s) after each.

    `loss` (W, copper at 20 degC): mean of the cycle as commissioning turns it; `own_loss`: at the job's own speed.
    """

    by: Fraction
    pause: float
    loss: float
    own_loss: float


def cycle_of(bench: Bench) -> Cycle:
    """The cycle of the bench's job, or standing still where there is no job.

    Raises `InputError` where motor.resistance or driver.standstill_current is not stated: the loss follows from them.
    """
    losses = losses_of(known(bench.machine))
    if bench.setup is None:
        return Cycle(Fraction(0), 0.0, losses.holding, losses.holding)
    plan = plan_job(bench.setup)
    route = plan.program.route
    longest = int(np.abs(route.deltas[route.purpose == Purpose.INDEX]).max(initial=0))
    if longest == 0:
        return Cycle(Fraction(0), 0.0, losses.holding, losses.holding)
    by, pause = Fraction(longest) / route.per_part_turn, holding_time(bench.setup.job) or USUAL_PAUSE_S
    calm, own = (
        _loss(losses, plan, bench, by, pause, speed) for speed in (min(CALM, plan.program.speed), plan.program.speed)
    )
    return Cycle(by, pause, calm, own)


def known(machine: Machine) -> Machine:
    """The machine with what its motor file leaves out, but its resistance, at the unkind end of its range."""
    for each in (*motor_assumptions(machine.motor), *iron_assumptions(machine.motor)):
        if each.key != "motor.resistance":
            machine = with_value(machine, each.path, each.unkind)
    return machine


def _loss(losses: Losses, plan: JobPlan, bench: Bench, by: Fraction, pause: float, speed: float) -> float:
    """Mean loss (W) of a move and its pause at `speed` (part rad/s)."""
    move = plan_index(2 * math.pi * float(by), plan.program.acceleration, speed)
    duration, peak = float(move.duration), float(move.peak_speed)
    per_part_turn = float(bench.per_turn) / (bench.machine.motor.full_steps * bench.machine.driver.microsteps)
    iron = losses.iron(2 * math.pi * float(by) / duration * per_part_turn, peak * per_part_turn)
    return float(cycle_loss(losses.moving + iron, duration, losses.holding, pause))
