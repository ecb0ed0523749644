"""How fast an index may go, and why not faster: against a cautious setting, a bound, and what is next stronger."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from fractions import Fraction

import numpy as np

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.train.vibration import settle_time
from firmware_host.model.files.loading import Setup
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.planning.compare.motors import machine_with
from firmware_host.planning.index.bound import mean_bound
from firmware_host.planning.index.moves import IndexMoves, index_moves
from firmware_host.planning.index.report import IndexAdvice, MarginLoss, OtherChoice
from firmware_host.planning.index.ringing import half_microstep
from firmware_host.planning.index.safe_motion import SafeMotion, motion_for
from firmware_host.planning.index.search import IndexSearch
from firmware_host.planning.index.timing import index_timing
from firmware_host.planning.limit_report import LimitReport, check_limits
from firmware_host.planning.limits.check import NARROW_MARGIN, LimitCheck
from firmware_host.planning.limits.motor.supply import SupplyCurrent, SupplyVoltage
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.plan import JobPlan
from firmware_host.units import parse_quantity

USUAL_SUPPLIES = (12, 24, 36, 48, 60, 72, 80)
"""Supply voltages that are sold for stepper drivers, V: common practice, no source."""

_WORTH_IT = 1.005
"""From how many times quicker on what a choice costs is looked at."""

_LOSS = 0.02
"""Part of a limit that a choice has to take from its margin to be told as a cost."""

_CAUTIOUS_SPEEDS = np.geomspace(1e-3, 1.0, 2048)


def advise(setup: Setup, plan: JobPlan, motors: Mapping[str, Motor]) -> IndexAdvice:
    """The advice on the planned motion of a job; `motors`: the library, by name."""
    machine, job, motion = setup.machine, setup.job, plan.limits.motion
    load = load_case(machine, job)
    moves = index_moves(plan.route.index_turns, plan.route.purpose)
    others = (*_unstated(setup), *next_stronger(machine, motors, motion.binding))
    choices = (_with_machine(what, other, job, plan) for what, other in others)
    stronger = tuple(found for found in choices if found is not None)
    return IndexAdvice(
        motion,
        mean_bound(load, moves, reserve=NARROW_MARGIN),
        cautious_choice(load, moves, motion),
        stronger,
    )


def advised(setup: Setup, plan: JobPlan, motors: Mapping[str, Motor]) -> LimitReport:
    """The plan's limit report with the advice on its motion; see `advise`."""
    return replace(plan.limits, advice=advise(setup, plan, motors))


def cautious_choice(load: LoadCase, moves: IndexMoves, than: SafeMotion) -> OtherChoice | None:
    """The usual cautious setting (common practice, no source), compared with `than`; None where nothing is safe.

    Half of the acceleration that the limits allow at the speed, those of torque and grip with the factor of 2 that a
    ramp which sets in at once needs; of those the speed that moves quickest, ringing not looked at. So any ramp may end
    in the worst phase: the half bears its peak of 4, and it has left 4 a/w^2 to wait for (a reversed ramp of the
    undamped oscillator), at the lowest natural frequency and the least damping assumed.
    """
    search = IndexSearch([load], moves, NARROW_MARGIN)
    v = _CAUTIOUS_SPEEDS * search.top_speed
    a = search.largest_acceleration(v) / 2
    usable = a > 0
    if not usable.any():
        return None
    root = np.sqrt(moves.mean / np.where(usable, a, 1.0)[:, None])
    ramp = np.minimum(v / np.where(usable, a, 1.0), math.inf)[:, None]
    durations = np.minimum(ramp, root) + np.maximum(moves.mean / v[:, None], root)
    best = int(np.where(usable, (durations * moves.weights).sum(axis=1), np.inf).argmin())
    acceleration, speed = float(a[best]), float(v[best])
    natural = load.natural_band.lowest
    settle = float(settle_time(4 * acceleration / natural**2, half_microstep(load), load.damping.lowest, natural))
    timing = replace(index_timing(load, moves, acceleration, speed), settle_s=settle)
    what = "half the torque, waiting for any ringing"
    return OtherChoice(what, acceleration, speed, timing, than.timing.index_s / timing.index_s)


def next_stronger(
    machine: Machine, motors: Mapping[str, Motor], binding: Collection[str] = ()
) -> list[tuple[str, Machine]]:
    """The machine with one thing stronger each: current, supply, steps, drive, motor.

    The supply is that of the next usual voltage; where it is among the limits that `binding` names, also one of twice
    the current or capacitance. The steps are twice as many. The current is the motor's rated one, or the highest
    that the driver can set if that is less. For the motor see `_stronger_motor`.
    """
    driver, found = machine.driver, []
    current = machine_with(machine, machine.motor).driver.current
    if driver.current.exact < current.exact:
        found.append((f"driver.current {current}", _with_driver(machine, current=current)))
    supply = next((v for v in USUAL_SUPPLIES if v > driver.supply_voltage.exact), None)
    bears = driver.highest_supply_voltage
    if supply is not None and (bears is None or supply <= bears.exact):
        voltage = parse_quantity(f"{supply} V", "voltage", "positive")
        found.append((f"driver.supply_voltage {supply} V", _with_driver(machine, supply_voltage=voltage)))
    found += _stronger_supply(machine, binding)
    rate = parse_quantity(f"{float(2 * machine.link.highest_step_rate.exact):g} Hz", "rate", "positive")
    link = machine.link.model_copy(update={"highest_step_rate": rate})
    found.append((f"link.highest_step_rate {rate}", machine.model_copy(update={"link": link})))
    found += [(what, machine.model_copy(update={"drive": drive})) for what, drive in machine.drive.stronger()]
    motor = _stronger_motor(machine, motors)
    return found if motor is None else [*found, motor]


def _stronger_supply(machine: Machine, binding: Collection[str]) -> list[tuple[str, Machine]]:
    """Twice the supply's current or capacitance, where `binding` says that its limit is in the way."""
    driver, found = machine.driver, []
    current, capacitance = driver.supply_current, driver.supply_capacitance
    if SupplyCurrent.name in binding and current is not None:
        twice = parse_quantity(f"{2 * current.si:g} A", "current", "positive")
        found.append((f"driver.supply_current {twice}", _with_driver(machine, supply_current=twice)))
    if SupplyVoltage.name in binding and capacitance is not None:
        twice = parse_quantity(f"{2e6 * capacitance.si:g} uF", "capacitance", "positive")
        found.append((f"driver.supply_capacitance {twice}", _with_driver(machine, supply_capacitance=twice)))
    return found


def _stronger_motor(machine: Machine, motors: Mapping[str, Motor]) -> tuple[str, Machine] | None:
    """The motor of the least holding torque above the present one that the driver feeds with its rated current.

    Where the driver can feed none of them so, the least of them all with a driver for its rated current, which is said
    as well. None beyond the strongest.
    """
    torque, most = machine.motor.holding_torque.exact, machine.driver.highest_current
    stronger = {name: motor for name, motor in motors.items() if motor.holding_torque.exact > torque}
    fed = {name: motor for name, motor in stronger.items() if most is None or motor.rated_current.exact <= most.exact}
    among = fed or stronger
    if not among:
        return None
    name = min(among, key=lambda key: Fraction(among[key].holding_torque.exact))
    motor = among[name]
    if fed:
        return f"motor {name}", machine_with(machine, motor)
    rated = motor.rated_current
    driver = machine.driver.model_copy(update={"current": rated, "highest_current": rated})
    what = f"motor {name} and a driver for its {rated} (driver.highest_current is {most})"
    return what, machine.with_motor(motor, driver)


def _with_driver(machine: Machine, **update: object) -> Machine:
    return machine.model_copy(update={"driver": machine.driver.model_copy(update=update)})


def _unstated(setup: Setup) -> list[tuple[str, Machine]]:
    """The same machine without the speed and the acceleration that the job states, if it states any."""
    index = setup.job.index
    stated = {"index.speed": index.speed, "index.acceleration": index.acceleration}
    keys = [key for key, value in stated.items() if value is not None]
    return [(f"{' and '.join(keys)} left out", setup.machine)] if keys else []


def _with_machine(what: str, machine: Machine, job: Job, plan: JobPlan) -> OtherChoice | None:
    """The job on another `machine` at its own quickest safe motion, beside the plan; None where none is safe."""
    route, than = plan.route, plan.limits
    moves = index_moves(route.index_turns, route.purpose)
    try:
        motion = motion_for(load_case(machine, job), moves)
    except LimitExceededError:
        return None
    quicker = than.motion.timing.index_s / motion.timing.index_s
    if quicker < _WORTH_IT:
        return OtherChoice(what, motion.acceleration, motion.speed, motion.timing, quicker)
    report = check_limits(
        machine,
        job,
        index_turns=route.index_turns,
        speed=motion.speed,
        acceleration=motion.acceleration,
        purposes=route.purpose,
    )
    losses = margin_losses(than.checks, report.checks)
    return OtherChoice(what, motion.acceleration, motion.speed, motion.timing, quicker, report.verdict, losses)


def margin_losses(before: Iterable[LimitCheck], after: Iterable[LimitCheck]) -> tuple[MarginLoss, ...]:
    """The limits of which less is left afterwards, by `_LOSS` of the limit or more; the tightest first."""
    had = {check.name: check.margin for check in before}
    losses = []
    for check in after:
        margin = had.get(check.name)
        if margin is not None and check.margin is not None and check.margin < margin - _LOSS:
            losses.append(MarginLoss(check.name, margin, check.margin))
    return tuple(sorted(losses, key=lambda loss: loss.after))
