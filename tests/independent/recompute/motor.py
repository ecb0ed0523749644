"""Limits of the motor and its electronics (docs: Gearing, Motor, Heat and supply, Vibration, Steps)."""

from __future__ import annotations

import itertools
from math import cos, exp, inf, pi, sqrt

from tests.independent.recompute.facts import Facts, through
from tests.independent.recompute.swing import static_torque, torque_constant
from tests.independent.recompute.verdict import UNKNOWN, Found
from tests.independent.values import known, of, si

COPPER = 3.93e-3


def at_motor(facts: Facts, acceleration: float, imbalance: float, sense: int) -> float:
    """Torque (N m) at the motor that the part turns with, friction against `sense`, shaft by shaft."""
    torque = facts.on_shaft * acceleration + facts.friction * sense + imbalance
    turn = acceleration
    for stage in reversed(facts.stages):
        torque += stage.inertia_out * turn
        turn *= stage.ratio
        driving = torque * sense > 0
        torque = torque / (stage.ratio * stage.efficiency) if driving else torque * stage.efficiency / stage.ratio
        torque += stage.inertia_in * turn
    return torque + si(facts.motor["rotor_inertia"]) * turn


def needed(facts: Facts, up: float, down: float) -> tuple[float, float]:
    """(speeding up at `up`, braking at `down`): the largest torque over both senses and the imbalance's two signs."""
    senses = [(sense, imbalance) for sense in (1, -1) for imbalance in (facts.imbalance, -facts.imbalance)]
    speeding = max(abs(at_motor(facts, sense * up, imbalance, sense)) for sense, imbalance in senses)
    return speeding, max(abs(at_motor(facts, -sense * down, imbalance, sense)) for sense, imbalance in senses)


def pull_out_known(facts: Facts) -> bool:
    return "torque_curve" in facts.motor or ("resistance" in facts.motor and "inductance" in facts.motor)


def pull_out(facts: Facts, speed: float) -> float:
    """Torque (N m) at a speed of the motor (rad/s)."""
    if "torque_curve" in facts.motor:
        return _from_points(facts, speed) * crossing(facts)
    return _from_winding(facts, speed)


def crossing(facts: Facts) -> float:
    """Share of the torque left where two neighbouring curves of full or half steps of a shaped current cross."""
    shaped = facts.microsteps <= 2 and facts.driver.get("current_shaped") is not False
    return cos(pi / 4 / facts.microsteps) if shaped else 1.0


def _from_points(facts: Facts, speed: float) -> float:
    curve, rated, current = facts.motor["torque_curve"], si(facts.motor["rated_current"]), si(facts.driver["current"])
    of_curve = of(curve, "current", rated)
    scale = min(current, rated) / of_curve
    faster = si(facts.driver["supply_voltage"]) / si(curve["supply_voltage"])
    points = [(si(p["speed"]) * faster, si(p["torque"]) * scale) for p in curve["points"]]
    if speed <= points[0][0]:
        return points[0][1]
    for (v_1, t_1), (v_2, t_2) in itertools.pairwise(points):
        if speed <= v_2:
            return t_1 + (t_2 - t_1) * (speed - v_1) / (v_2 - v_1)
    return 0.0


def _from_winding(facts: Facts, speed: float) -> float:
    """k_T times the largest real part of a current that current limit and voltage allow: try all candidates."""
    k, voltage = torque_constant(facts), si(facts.driver["supply_voltage"])
    current = si(facts.driver["current"]) * crossing(facts)
    voltage *= 4 / pi if facts.microsteps == 1 else 1.0
    z = complex(si(facts.motor["resistance"]), facts.teeth * speed * si(facts.motor["inductance"]))
    centre, radius = -k * speed / z, voltage / abs(z)
    candidates = [complex(current, 0.0), centre + radius]
    distance = abs(centre)
    if distance > 0:
        along = (current**2 - radius**2 + distance**2) / (2 * distance)
        if abs(along) <= current:
            direction, across = centre / distance, sqrt(current**2 - along**2)
            candidates += [direction * complex(along, sign * across) for sign in (1, -1)]
    fits = [i.real for i in candidates if abs(i) <= current * (1 + 1e-9) and abs(i - centre) <= radius * (1 + 1e-9)]
    return max(0.0, k * max(fits, default=0.0))


def least_pull_out(facts: Facts) -> float:
    """Least on the way to the peak speed."""
    if facts.least_pull_out is None:
        facts.least_pull_out = _least_pull_out(facts)
    return facts.least_pull_out


def _least_pull_out(facts: Facts) -> float:
    top = facts.motion.peak * facts.ratio
    if "torque_curve" in facts.motor:  # straight between its corners
        faster = si(facts.driver["supply_voltage"]) / si(facts.motor["torque_curve"]["supply_voltage"])
        corners = [si(point["speed"]) * faster for point in facts.motor["torque_curve"]["points"]]
        speeds = [0.0, *(corner for corner in corners if corner < top), top]
    else:
        speeds = [top * k / 60 for k in range(61)]
    return min(pull_out(facts, speed) for speed in speeds)


def torque_limit(facts: Facts, value: float, factor: float, within: float = 1e-6) -> Found:
    if not pull_out_known(facts):
        return Found(value, None, within=within)
    lacking = facts.lacks("inertia", "efficiency", "friction", "imbalance")
    return Found(value, least_pull_out(facts) / factor, lacking, within=within)


def safety(facts: Facts) -> float:
    return of(facts.job["index"], "safety_factor", 2.0)


def torque_accelerating(facts: Facts) -> Found:
    a = facts.motion.acceleration
    return torque_limit(facts, needed(facts, a, a)[0], safety(facts))


def torque_braking(facts: Facts) -> Found:
    a = facts.motion.acceleration
    return torque_limit(facts, needed(facts, a, a)[1], safety(facts))


def holding_torque(facts: Facts) -> Found:
    holds = static_torque(facts) * of(facts.driver, "standstill_current", 1.0)
    return Found(facts.imbalance / facts.ratio, holds / safety(facts), facts.lacks("imbalance"))


def step_rate(facts: Facts) -> float:
    return facts.motion.peak * facts.ratio / (2 * pi) * facts.full_steps * facts.microsteps


def step_rate_driver(facts: Facts) -> Found:
    return Found(step_rate(facts), si(facts.driver["highest_step_rate"]))


def step_rate_controller(facts: Facts) -> Found:
    return Found(step_rate(facts), si(facts.machine["link"]["highest_step_rate"]))


def step_pulse(facts: Facts) -> Found:
    pulse = known(facts.driver, "smallest_pulse")
    return Found(pulse, 1 / (2 * step_rate(facts))) if pulse is not None else UNKNOWN


def measured_ramp(facts: Facts) -> Found | None:
    """What lost no step when it was tried, on the drive's shaft: 0.8 of it is in the file, with its load's inertia."""
    ramp = facts.machine.get("ramp", {})
    if "acceleration" not in ramp:
        return None
    own = facts.roller_inertia if facts.rolling else si(facts.drive["inertia"])
    tried_with = si(facts.motor["rotor_inertia"]) + through(facts.gearing, own + of(ramp, "load_inertia"))
    onwards = facts.contact / facts.roller if facts.rolling else 1.0
    most = si(ramp["acceleration"]) / 0.8 / onwards * min(1.0, tried_with / facts.total_inertia)
    used = max(facts.motion.acceleration / most, facts.motion.peak * onwards * 0.8 / si(ramp["speed"]))
    return Found(used, 1.0, facts.lacks("inertia"))


def inertia_ratio(facts: Facts) -> Found:
    return Found(facts.reflected / si(facts.motor["rotor_inertia"]), 10.0, facts.lacks("inertia"), advisory=True)


def rise(facts: Facts, loss: float) -> float:
    measured = facts.machine.get("warming", {})
    cold = si(measured.get("thermal_resistance", facts.motor.get("thermal_resistance"))) * loss
    ambient = si(facts.motor["ambient"])
    left = 1 - COPPER * cold
    return cold * (1 + COPPER * (ambient - 20)) / left if left > 0 else inf


def _heat(facts: Facts, loss: float) -> Found:
    return Found(rise(facts, loss), si(facts.motor["highest_temperature"]) - si(facts.motor["ambient"]))


def _heat_known(facts: Facts) -> bool:
    cooling = "thermal_resistance" in {**facts.motor, **facts.machine.get("warming", {})}
    return cooling and all(key in facts.motor for key in ("resistance", "highest_temperature", "ambient"))


def copper(facts: Facts, share: float = 1.0, *, moving: bool = False) -> float:
    """Copper loss (W) at a share of the set current: of both phases whole, unless the current is shaped."""
    loss = (si(facts.driver["current"]) * share) ** 2 * si(facts.motor["resistance"])
    if facts.microsteps > 2 or facts.driver.get("current_shaped"):
        return loss
    return loss * (1.5 if moving and facts.microsteps == 2 else 2.0)


def heat_holding(facts: Facts) -> Found:
    if not _heat_known(facts):
        return UNKNOWN
    return _heat(facts, copper(facts, of(facts.driver, "standstill_current", 1.0)))


def iron(facts: Facts) -> float:
    """Iron loss (W) of the longest move."""
    mean, peak = (speed * facts.ratio for speed in (facts.motion.longest / facts.motion.duration, facts.motion.peak))
    alike = of(facts.motor, "iron_loss_speed", 2 * pi * 800 / facts.teeth)
    return si(facts.motor["rated_current"]) ** 2 * si(facts.motor["resistance"]) * mean / alike * max(1, peak / alike)


def heat_cycle(facts: Facts) -> Found:
    """The longest index and what is known of the pause after it."""
    if not _heat_known(facts):
        return UNKNOWN
    gate, mark = facts.job["gate"], facts.job["mark"]
    a_pass = max(of(gate, "duration"), of(mark, "pass_time"))
    pause = of(facts.job["index"], "settle") + a_pass * mark.get("passes", 1)
    moving = copper(facts, moving=True) + iron(facts)
    standing, duration = copper(facts, of(facts.driver, "standstill_current", 1.0)), facts.motion.duration
    slow = known(facts.machine.get("warming", {}), "time_constant")
    if slow is None:
        return _heat(facts, (moving * duration + standing * pause) / (duration + pause))
    return _heat(facts, _warmest((moving, duration), (standing, pause), slow))


def _warmest(moving: tuple[float, float], standing: tuple[float, float], slow: float) -> float:
    """The steady loss (W) of the warmest moment: rounds, each part by its decay, twice as many at a time."""
    left, gained = 1.0, 0.0  # of a round, and then of 2, 4, 8 ... of them: warm -> left * warm + gained
    for loss, lasts in (moving, standing):
        kept = exp(-lasts / slow)
        left, gained = left * kept, gained * kept + loss * (1 - kept)
    for _ in range(60):
        left, gained = left * left, gained * left + gained
    warm = hottest = gained
    for loss, lasts in (moving, standing):
        warm = loss + (warm - loss) * exp(-lasts / slow)
        hottest = max(hottest, warm)
    return hottest


def supply_current(facts: Facts) -> Found:
    rated = known(facts.driver, "supply_current")
    if rated is None or "resistance" not in facts.motor:
        return UNKNOWN
    torque, omega = needed(facts, facts.motion.acceleration, 0.0)[0], facts.motion.peak * facts.ratio
    drawn = (torque * omega + copper(facts)) / si(facts.driver["supply_voltage"])
    return Found(drawn, rated, facts.lacks("inertia", "efficiency", "friction", "imbalance"))


def supply_voltage(facts: Facts) -> Found:
    capacitance, most = known(facts.driver, "supply_capacitance"), known(facts.driver, "highest_supply_voltage")
    if capacitance is None or most is None:
        return UNKNOWN
    energy = facts.total_inertia * (facts.motion.peak * facts.ratio) ** 2 / 2 + 2 * facts.imbalance
    taken = capacitance * (most**2 - si(facts.driver["supply_voltage"]) ** 2) / 2
    return Found(energy, taken, facts.lacks("inertia", "imbalance"))
