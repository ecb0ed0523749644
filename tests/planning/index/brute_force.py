"""The quickest index by brute force: every pair of a grid, each oscillator of the band and the damping on its own.

Written from e'' + 2 zeta w e' + w^2 e = -a(t) alone: the answers to the four jumps of a(t) added up, sampled in time.
Nothing here comes from the package's own ringing; `test_brute_force.py` checks it against SciPy's integration.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from firmware_host.mechanics.contact.rollers import Trough
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.motor.resonance import Resonance
from firmware_host.planning.limits.motor.step_rate import ControllerStepRate, DriverStepRate, StepPulse
from firmware_host.planning.limits.motor.torque import TorqueAccelerating, TorquePeak
from firmware_host.planning.limits.rolling.grip import Grip, GripPeak, Seating, SeatingPeak
from firmware_host.planning.load.case import LoadCase, load_case
from tests.mechanics.contact.test_rollers import all_bodies
from tests.planning.limits.workshop import DELETE, job, machine, roller_machine

LEFT = 0.8
LIMITS: tuple[Limit, ...] = (
    TorqueAccelerating(),
    TorquePeak(),
    DriverStepRate(),
    ControllerStepRate(),
    StepPulse(),
    Resonance(),
    Grip(),
    GripPeak(),
    Seating(),
    SeatingPeak(),
)
"""What `Rig.judged` looks at as well."""


@dataclass(frozen=True)
class Rig:
    """A drawn machine: its kind of drive, its load case, and the angle of its one index, rad."""

    kind: str
    load: LoadCase
    angle: float


def drawn_rig(rng: np.random.Generator, kind: str) -> Rig:
    """A machine of that kind: "direct", "belt", "worm" or "rollers"."""
    angle = 2 * math.pi * 10 ** rng.uniform(-2.0, -0.3)
    microsteps = int(2 ** rng.integers(2, 6))
    if kind == "rollers":
        return Rig(kind, _rollers(rng, microsteps), angle)
    holding = 10 ** rng.uniform(-0.5, 0.6)
    rotor = holding * 10 ** rng.uniform(-4.9, -4.4)
    ratio = {"direct": 1.0, "belt": float(rng.integers(20, 120)) / 20, "worm": float(rng.integers(20, 61))}[kind]
    of_rotor = rotor * ratio**2 * 10 ** rng.uniform(-1.0, 1.2)
    efficiency = {"direct": 1.0, "belt": rng.uniform(0.9, 0.98), "worm": rng.uniform(0.3, 0.8)}[kind]
    stage = {"kind": {"belt": "toothed-belt", "worm": "worm"}.get(kind), "driving_teeth": 20 if kind == "belt" else 1}
    stage |= {"driven_teeth": round(ratio * 20) if kind == "belt" else round(ratio), "efficiency": float(efficiency)}
    stage |= {"driving_inertia": f"{0.1 * rotor:.12f} kg*m^2", "driven_inertia": f"{0.2 * of_rotor:.12f} kg*m^2"}
    rig = machine(
        motor__holding_torque=f"{holding:.9f} N*m",
        motor__rotor_inertia=f"{rotor:.12f} kg*m^2",
        motor__torque_curve__points=_curve(rng, holding),
        driver__microsteps=microsteps,
        gearing=[] if kind == "direct" else [stage],
        drive__inertia=f"{0.3 * of_rotor:.12f} kg*m^2",
        drive__friction_torque=f"{holding * ratio * efficiency * 0.05 * rng.uniform(0, 1) + 1e-6:.9f} N*m",
        link__highest_step_rate=f"{10 ** rng.uniform(4, 5.2):.6f} Hz",
    )
    part = {"kind": "measured", "mass": "0.5 kg", "inertia": f"{0.5 * of_rotor:.12f} kg*m^2", "mass_offset": "0.1 mm"}
    work = job(part=part | {"diameter": "60 mm", "length": "100 mm", "overhang": "50 mm"})
    return Rig(kind, load_case(rig, work), angle)


def _curve(rng: np.random.Generator, holding: float) -> list[dict[str, str]]:
    fall = np.sort(rng.uniform(0.08, 0.95, 4))[::-1]
    speeds, torques = np.cumsum(rng.uniform(5, 60, 4)), 0.75 * holding * fall / fall[0]
    return [{"speed": f"{v:.9f} rad/s", "torque": f"{t:.9f} N*m"} for v, t in zip(speeds, torques, strict=True)]


def _rollers(rng: np.random.Generator, microsteps: int) -> LoadCase:
    diameter = rng.uniform(30, 110)
    rig = roller_machine(
        centre_distance=f"{rng.uniform(0.45, 0.85) * (diameter + 25):.6f} mm",
        roller_inertia=f"{10 ** rng.uniform(-6.5, -5.2):.12f} kg*m^2",
        friction=10 ** rng.uniform(-0.5, 0.2),
        rolling_resistance=f"{rng.uniform(0.01, 0.2):.6f} mm",
        idle_friction_torque=f"{rng.uniform(0, 0.1):.6f} N*mm",
    )
    rig = rig.model_copy(update={"driver": rig.driver.model_copy(update={"microsteps": microsteps})})
    part = {"part__diameter": f"{diameter:.6f} mm", "part__mass": f"{10 ** rng.uniform(-0.7, 0.7):.6f} kg"}
    return load_case(rig, job(**part, part__density=DELETE, part__mass_offset=f"{rng.uniform(0, 0.2):.6f} mm"))


def answer(age: np.ndarray, w: np.ndarray, zeta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(e, e') so long after a(t) has jumped from 0 to 1: from rest, e'' + 2 zeta w e' + w^2 e = -1."""
    root = np.sqrt(1 - zeta**2)
    t = np.maximum(age, 0.0)
    decay, turned = np.exp(-zeta * w * t), w * root * t
    return -(1 - decay * (np.cos(turned) + zeta / root * np.sin(turned))) / w**2, -decay * np.sin(turned) / (w * root)


def lag(
    t: np.ndarray, ramp: np.ndarray, brake: np.ndarray, w: np.ndarray, zeta: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(e, e') of an index of unit acceleration, at `t` from its start: up until `ramp`, down from `brake` on."""
    parts = [
        (sign * (t >= at), answer(t - at, w, zeta))
        for sign, at in ((1.0, 0.0), (-1.0, ramp), (-1.0, brake), (1.0, ramp + brake))
    ]
    return tuple(sum(sign * each[k] for sign, each in parts) for k in (0, 1))  # type: ignore[return-value]


def shape_of(angle: float, a: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(ramp time, time until the brake) of a triangle or a trapezoid, s."""
    ramp = np.minimum(v / a, np.sqrt(angle / a))
    return ramp, np.maximum(angle / v, np.sqrt(angle / a))


def settle(rig: Rig, a: np.ndarray, v: np.ndarray, frequencies: int, dampings: int) -> np.ndarray:
    """Seconds until no oscillator swings by more than half a microstep: a grid over the whole band and damping."""
    load = rig.load
    ramp, brake = shape_of(rig.angle, a, v)
    still = math.pi / (load.full_steps * load.microsteps * load.ratio)
    worst = np.zeros(ramp.shape)
    ws = np.linspace(load.natural_band.lowest, load.natural_band.highest, frequencies)
    for w, zeta in itertools.product(ws, np.linspace(load.damping.lowest, load.damping.highest, dampings)):
        e, rate = lag(ramp + brake, ramp, brake, w, zeta)
        amplitude = a * np.hypot(e, (rate + zeta * w * e) / (w * math.sqrt(1 - zeta**2)))
        worst = np.maximum(worst, np.log(np.maximum(amplitude, 1e-300) / still) / (zeta * w))
    return worst


def peaks(rig: Rig, a: float, v: float, frequencies: int, dampings: int, instants: int) -> tuple[float, float]:
    """Farthest acceleration of the load over `a`: (pushed on, held back), of any oscillator at any instant.

    Of the spring's pull and of what spring and damping give together. Held back counts as pushed while the load runs
    backward, as friction is then against it too.
    """
    load = rig.load
    ramp, brake = (float(part) for part in shape_of(rig.angle, np.float64(a), np.float64(v)))
    w = np.linspace(load.natural_band.lowest, load.natural_band.highest, frequencies)[:, None, None]
    zeta = np.linspace(load.damping.lowest, load.damping.highest, dampings)[None, :, None]
    end = ramp + brake
    times = [np.linspace(start, stop, instants) for start, stop in ((0.0, ramp), (ramp, brake), (brake, end))]
    times.append(end + np.linspace(0, 2 * math.pi / load.natural_band.lowest, instants))
    t = np.concatenate(times)[None, None, :]
    e, rate = lag(t, np.float64(ramp), np.float64(brake), w, zeta)
    pulls = [-(w**2) * e, -(w**2) * e - 2 * zeta * w * rate]
    speed = np.clip(np.minimum(np.minimum(t, ramp), end - t), 0.0, None) + rate
    pushing = max(float(pull.max()) for pull in pulls)
    backward = max(float((-pull * (speed < -1e-12)).max()) for pull in pulls)
    after = max(float((-pull * (t >= end)).max()) for pull in pulls)
    return max(pushing, backward, after), max(float((-pull).max()) for pull in pulls)


def pull_out(load: LoadCase, v: np.ndarray) -> np.ndarray:
    """Least torque of the motor from a standstill up to each of `v`."""
    fine = np.union1d(np.linspace(0, 1, 4000) * v.max(), load.pull_out_corners[load.pull_out_corners < v.max()])
    return np.asarray(np.interp(v, fine, np.minimum.accumulate(load.pull_out(fine))))


def keeps_steadily(rig: Rig, a: np.ndarray, v: np.ndarray, slack: float = 0.0) -> np.ndarray:
    """Whether each pair keeps a fifth of steady torque over safety factor, of rates, grip and seating as commanded."""
    load, left = rig.load, LEFT * (1 + slack)
    rate = v * load.full_steps * load.microsteps * load.ratio / (2 * math.pi)
    kept = 2 * load.torque(a).accelerating <= left * pull_out(load, v)
    kept &= (rate <= left * min(load.driver_step_rate, load.controller_step_rate)) & (rate <= left / (2 * 2e-6))
    kept &= grips(load, a, a, v, slack)
    cruises = rig.angle > v**2 / a
    for k in (1, 2, 3):  # beside every full-step rate that may excite the natural frequency, by a fifth
        low = load.natural_band.lowest * (1 - load.damping.middle) / (2 * math.pi * k) * (1 - 0.2)
        high = load.natural_band.highest * (1 + load.damping.middle) / (2 * math.pi * k) * (1 + 0.2)
        kept &= ~(cruises & (rate / load.microsteps > low) & (rate / load.microsteps < high))
    return kept


def grips(load: LoadCase, up: np.ndarray, down: np.ndarray, v: np.ndarray, slack: float = 0.0) -> np.ndarray:
    """Whether a part that speeds up at `up` and brakes at `down`, up to the speeds `v`, keeps a fifth of grip and seat.

    Newton's equations of part and rollers (`all_bodies`) are linear in the acceleration and in the centrifugal force:
    solved at 0 and at 1 rad/s^2, at none and at 1 N, for both directions and 32 places of the centre of mass. Yes in a
    chuck.
    """
    trough, friction = load.trough, load.friction
    kept = np.ones(np.broadcast_shapes(np.shape(up), np.shape(v)), dtype=bool)
    if trough is None or friction is None:
        return kept
    rest = trough.mass * 9.80665 / 2 / math.cos(trough.half_angle)
    throw = trough.unbalance * v**2
    for speeding_up, still, moving, pulled in _solved(trough, load.imbalance_torque):
        size = up if speeding_up else down
        for thrown in (np.zeros_like(throw), throw):
            traction, driven, other = (
                at_rest + size * by_moving + thrown * by_pulling
                for at_rest, by_moving, by_pulling in zip(still, moving, pulled, strict=True)
            )
            kept &= np.abs(traction) <= LEFT * (1 + slack) * friction * driven
            kept &= np.minimum(driven, other) >= 0.2 * (1 - slack) * rest
    return kept


Forces = tuple[float, ...]
"""Traction and normal force of the driven side, normal force of the other one, N."""


@lru_cache(maxsize=4)  # asked for again and again with the same rollers
def _solved(trough: Trough, imbalance_torque: float) -> list[tuple[bool, Forces, Forces, Forces]]:
    """(speeding up, at no acceleration, more at 1 rad/s^2, more at a pull of 1 N) for each direction and place."""
    found = []
    for speeding_up, sense, angle in itertools.product((True, False), (1.0, -1.0), np.arange(32) * math.pi / 16):
        sign = sense if speeding_up else -sense
        place = math.cos(angle), math.sin(angle)
        torque = place[0] * imbalance_torque
        still, moving = (all_bodies(trough, sign * a, torque, sense) for a in (0.0, 1.0))
        pulled = all_bodies(trough, 0.0, torque, sense, place)
        names = ("traction_l", "normal_l", "normal_r")
        found.append(
            (
                speeding_up,
                tuple(still[name] for name in names),
                tuple(moving[name] - still[name] for name in names),
                tuple(pulled[name] - still[name] for name in names),
            )
        )
    return found


def keeps_at_its_peaks(rig: Rig, a: float, v: float, up: float, down: float, slack: float = 0.0) -> bool:
    """Whether torque, grip and seating hold where the load swings to `up` and `down` times `a`."""
    load = rig.load
    torque = max(float(load.torque(up * a).accelerating), float(load.torque(down * a).braking))
    allowed = LEFT * (1 + slack) * float(pull_out(load, np.array([v]))[0])
    return torque <= allowed and bool(grips(load, np.float64(up * a), np.float64(down * a), np.float64(v), slack))


def quickest(rig: Rig, *, grid: int = 90, zooms: int = 3) -> tuple[float, float, float]:
    """(acceleration, speed, s of the index with its settling): a coarse grid, then finer ones around its best pairs."""
    load = rig.load
    torques = load.torque(np.array([0.0, 1.0])).accelerating
    most = float(load.pull_out(0.0)) * LEFT / float(torques[1] - torques[0])
    a = np.geomspace(2e-3, 1.0, grid) * most
    v = np.geomspace(1e-2, 1.02, grid) * min(_top_speed(load), math.sqrt(most * rig.angle))
    pairs = _zoomed(a, v)
    best: list[tuple[float, float, float]] = []
    step = np.array([a[1] / a[0], v[1] / v[0]]) - 1
    for zoom in range(zooms + 1):
        seconds = _seconds(rig, pairs, *((15, 4) if zoom < 2 else (41, 9)))
        best = _best_of(rig, pairs, seconds, 6 if zoom < zooms else 1, fine=zoom == zooms)
        if not best or zoom == zooms:
            break
        around = np.linspace(-1, 1, 13)
        pairs = np.concatenate([_zoomed(x * (1 + step[0] * around), y * (1 + step[1] * around)) for x, y, _ in best])
        step = step / 5
    return best[0] if best else (math.nan, math.nan, math.inf)


def _zoomed(a: np.ndarray, v: np.ndarray) -> np.ndarray:
    return np.array(list(itertools.product(a, v)))


def _top_speed(load: LoadCase) -> float:
    rate = min(load.driver_step_rate, load.controller_step_rate, 1 / (2 * 2e-6))
    return LEFT * rate * 2 * math.pi / (load.full_steps * load.microsteps * load.ratio)


def _seconds(rig: Rig, pairs: np.ndarray, frequencies: int, dampings: int) -> np.ndarray:
    a, v = pairs[:, 0], pairs[:, 1]
    kept = keeps_steadily(rig, a, v)
    seconds = np.full(a.shape, np.inf)
    if kept.any():
        ramp, brake = shape_of(rig.angle, a[kept], v[kept])
        seconds[kept] = ramp + brake + settle(rig, a[kept], v[kept], frequencies, dampings)
    return seconds


def _best_of(
    rig: Rig, pairs: np.ndarray, seconds: np.ndarray, count: int, *, fine: bool
) -> list[tuple[float, float, float]]:
    """The quickest `count` pairs, well apart from each other, that keep the limits at their peaks."""
    found: list[tuple[float, float, float]] = []
    for k in np.argsort(seconds, kind="stable").tolist():
        a, v, takes = float(pairs[k, 0]), float(pairs[k, 1]), float(seconds[k])
        if not math.isfinite(takes) or len(found) == count:
            break
        if any(abs(a / x - 1) < 0.05 and abs(v / y - 1) < 0.05 for x, y, _ in found):
            continue
        if keeps_at_its_peaks(rig, a, v, *peaks(rig, a, v, 5, 1, 24)) and (
            keeps_at_its_peaks(rig, a, v, *peaks(rig, a, v, *((21, 4, 120) if fine else (9, 2, 40))))
        ):
            found.append((a, v, takes))
    return found
