"""Random machines for the index tests, and a brute-force grid that judges a motion with arithmetic of its own."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from firmware_host.mechanics.train.oscillators import few, least_damped
from firmware_host.planning.index.moves import IndexMoves, index_moves
from firmware_host.planning.index.peaks import peaks_among
from firmware_host.planning.index.ringing import settle_times
from firmware_host.planning.index.safe_motion import SafeMotion, motion_for
from firmware_host.planning.index.times import times_of
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.route.velocity import IndexMotion
from tests.planning.limits.workshop import DELETE, job, machine

SAFETY, RESERVE = 2.0, 0.2
PART = 0.01 * 0.03**2 / 2


@dataclass(frozen=True)
class RandomMachine:
    """A belt-driven chuck: what was drawn, and the load case the project makes of it."""

    load: LoadCase
    turns: np.ndarray
    speeds: np.ndarray
    torques: np.ndarray
    ratio: float
    efficiency: float
    rotor: float
    driven: float
    friction: float
    board_rate: float
    per_turn: float
    supply_current: float
    braking_room: float

    @property
    def moves(self) -> IndexMoves:
        return index_moves(self.turns)


def random_machine(rng: np.random.Generator) -> RandomMachine:
    """A machine that can turn its part: motor 0.2 to 4 N m, reduction 1 to 12, index 2 to 270 deg.

    Its supply gives 0.4 to 16 A at 24 V, of which the winding's 1 ohm takes 4 W at 2 A, and its capacitor of 50 uF to
    5 mF bears up to 26 to 60 V.
    """
    ratio = int(rng.integers(20, 240)) / 20
    holding = 10 ** rng.uniform(-0.7, 0.6)
    rotor = holding * 10 ** rng.uniform(-4.9, -4.4)
    driven = 10 ** rng.uniform(-4.3, -1.7)
    friction = holding * ratio * 0.04 * rng.uniform(0, 1)
    efficiency, microsteps = rng.uniform(0.5, 1.0), int(2 ** rng.integers(2, 6))
    fall = np.sort(rng.uniform(0.08, 0.95, 4))[::-1]
    speeds, torques = np.cumsum(rng.uniform(5, 60, 4)), 0.75 * holding * fall / fall[0]
    board_rate = 10 ** rng.uniform(4, 5.2)
    supply_current, capacitance = 10 ** rng.uniform(-0.4, 1.2), 10 ** rng.uniform(-4.3, -2.3)
    highest_voltage = rng.uniform(26, 60)
    points: list[dict[str, Any]] = [
        {"speed": f"{v:.9f} rad/s", "torque": f"{t:.9f} N*m"} for v, t in zip(speeds, torques, strict=True)
    ]
    rig = machine(
        motor__holding_torque=f"{holding:.9f} N*m",
        motor__rotor_inertia=f"{rotor:.12f} kg*m^2",
        motor__torque_curve__points=points,
        driver__microsteps=microsteps,
        gearing__0__driven_teeth=round(20 * ratio),
        gearing__0__efficiency=float(efficiency),
        gearing__0__driving_inertia="0 kg*m^2",
        gearing__0__driven_inertia=f"{driven - 1e-6 - PART:.12f} kg*m^2",
        driver__supply_current=f"{supply_current:.9f} A",
        driver__supply_capacitance=f"{capacitance * 1e6:.9f} uF",
        driver__highest_supply_voltage=f"{highest_voltage:.9f} V",
        drive__inertia="1e-6 kg*m^2",
        drive__friction_torque=f"{max(friction, 1e-6):.9f} N*m",
        link__highest_step_rate=f"{board_rate:.6f} Hz",
    )
    work = job(part__mass="10 g", part__density=DELETE, part__mass_offset="0 mm")
    turns = np.full(5, 10 ** rng.uniform(-2.2, -0.12))
    per_turn = 200 * microsteps * ratio
    return RandomMachine(
        load_case(rig, work),
        turns,
        speeds,
        torques,
        ratio,
        efficiency,
        rotor,
        driven,
        max(friction, 1e-6),
        board_rate,
        per_turn,
        supply_current,
        capacitance * (highest_voltage**2 - 24**2) / 2,
    )


def within_limits(rig: RandomMachine, a: np.ndarray, v: np.ndarray, slack: float = 0.0) -> np.ndarray:
    """Whether each pair keeps a fifth of every limit: torques, their peak, step rate, supply and the resonant bands.

    Written from the physics: the least pull-out torque up to the speed from the points, J*alpha through one stage with
    its efficiency. The peak factors are the project's own, proved against an oscillator elsewhere.
    """
    fine = np.linspace(0, 1, 400)[:, None] * v.max()
    at = np.interp(rig.ratio * fine[:, 0], rig.speeds, rig.torques, right=0.0)
    least = np.interp(v, fine[:, 0], np.minimum.accumulate(at))
    left = (1 - RESERVE) * (1 + slack)
    moves = rig.moves
    rotor, load = rig.rotor * rig.ratio * a, rig.driven * a

    def pushing(factor: np.ndarray) -> np.ndarray:
        return factor * rotor + (factor * load + rig.friction) / (rig.ratio * rig.efficiency)

    rate = v * rig.per_turn / (2 * math.pi)
    reached = np.minimum(v, np.sqrt(a * 2 * math.pi * rig.turns[0]))
    watts = pushing(np.float64(1.0)) * reached * rig.ratio + 2.0**2 * 1.0
    joules = (rig.rotor * rig.ratio**2 + rig.driven) * reached**2 / 2
    kept = (
        (watts <= 24 * rig.supply_current * left)
        & (joules <= rig.braking_room * left)
        & (pushing(np.float64(1.0)) * SAFETY <= least * left)
        & (rate <= min(rig.board_rate, 200e3) * left)
        & (rate <= left / (2 * 2e-6))
        & ~cruises_in_a_band(rig.load, rig.ratio, rig.turns[0], a, v)
    )
    up, down = swing_factors(rig.load, moves, a, v, kept)
    holding = down * rotor + (down * load - rig.friction) * rig.efficiency / rig.ratio
    return np.asarray(kept & (np.maximum(pushing(up), holding) <= least * left))


def swing_factors(
    load: LoadCase, moves: IndexMoves, a: np.ndarray, v: np.ndarray, where: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """How far the load swings over each acceleration, pushed on and held back, as the least damped oscillators do.

    Of the first group of `moves`; infinite but `where` it is asked for.
    """
    pushing, holding = np.full(where.shape, np.inf), np.full(where.shape, np.inf)
    each_a, each_v = (np.broadcast_to(each, where.shape)[where] for each in (a, v))
    among = least_damped(load.natural_band, load.damping, 9)
    factors = peaks_among(load, times_of(moves, each_a, each_v), among)
    pushing[where], holding[where] = factors.pushing[:, 0], factors.holding[:, 0]
    return pushing, holding


def cruises_in_a_band(load: LoadCase, ratio: float, turns: float, a: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Whether an index of so many turns cruises at full steps within a fifth of a resonant band.

    f_n/k is known to 10 %, and its half-power band reaches 10 % further.
    """
    full_steps = v * 200 * ratio / (2 * math.pi)
    natural = load.natural_frequency / (2 * math.pi)
    banded = np.zeros(np.broadcast_shapes(a.shape, v.shape), dtype=bool)
    for k in (1, 2, 3):
        low, high = 0.9 * 0.9 * natural / k * (1 - RESERVE), 1.1 * 1.1 * natural / k * (1 + RESERVE)
        banded |= (full_steps > low) & (full_steps < high)
    return np.asarray(banded & (2 * math.pi * turns > v**2 / a))


def index_seconds(rig: RandomMachine, a: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Move and settling of one index, s."""
    moves = rig.moves
    among = few(rig.load.natural_band, rig.load.damping, 13, 3)
    return np.asarray(times_of(moves, a, v).duration[..., 0] + settle_times(rig.load, moves, a, v, among))


def speed_at(move: IndexMotion, time: np.ndarray) -> np.ndarray:
    """Speed (rad/s, >= 0) `time` s after the start of one index; 0 outside the move."""
    nearest_end = np.minimum(time, move.duration - time)
    return np.clip(move.acceleration * nearest_end, 0.0, move.peak_speed)


def safe_motion(
    load: LoadCase, turns: np.ndarray, *, purposes: np.ndarray | None = None, **wishes: float
) -> SafeMotion:
    """The chosen motion for moves of `turns` of the part; the rest as in `index_moves` and `motion_for`."""
    return motion_for(load, index_moves(turns, purposes), **wishes)
