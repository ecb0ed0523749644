"""True machines to try, and the same two equations by SciPy."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from firmware_host.model import load_machine
from firmware_host.simulator.device import Stretch
from firmware_host.simulator.true_machine.description import TrueMachine
from firmware_host.simulator.true_machine.rotor import Rotor, rotor_of

BELT = load_machine("belt-chuck")


def true_machine(**tables: Any) -> TrueMachine:
    return TrueMachine.model_validate({"version": 1, **tables})


def rotor(*, friction: str = "0 N*m", damping: float = 0.1, microsteps: int = 256, **tables: Any) -> Rotor:
    """The belt-reduced chuck with a part; fine microsteps, so that the field turns evenly."""
    load = {"inertia": "10 kg*cm^2", "friction_torque": friction}
    described = true_machine(load=load, motor={"damping_ratio": damping}, ratio={"microsteps": microsteps}, **tables)
    return rotor_of(described, BELT)


def even_field(move: Sequence[Stretch], pulse: float) -> Callable[[float], tuple[float, float]]:
    """Place (rad) and speed (rad/s) of a field without pulses, half a pulse behind, as whole pulses are on the mean."""

    def at(time: float) -> tuple[float, float]:
        for stretch in move:
            if time <= stretch.duration_s:
                gain = (stretch.last_rate - stretch.first_rate) / stretch.duration_s
                rate = stretch.first_rate + gain * time
                half = math.copysign(0.5, rate)
                return (stretch.first + time * (stretch.first_rate + gain * time / 2) - half) * pulse, rate * pulse
            time -= stretch.duration_s
        return move[-1].last * pulse, 0.0

    return at


def by_scipy(of: Rotor, move: Sequence[Stretch], lasts: float) -> Any:
    """The two equations of a rotor without friction, at tight tolerances; rows rotor, load, and their speeds."""
    field = even_field(move, of.pulse)

    def change(time: float, state: Any) -> list[float]:
        x, y, v, w = state
        place, speed = field(time)
        angle = of.teeth * (place - x)
        peak = float(of.peak(speed))
        own = of.damping * max(math.cos(angle), 0.0)
        train = of.spring * (x - y) + of.train_damping * (v - w)
        pull = peak * math.sin(angle) + own * (speed - v)
        return [v, w, (pull - train) / of.rotor_inertia, train / of.load_inertia]

    return solve_ivp(
        change, (0.0, lasts), [0.0] * 4, method="DOP853", rtol=1e-9, atol=1e-11, max_step=1e-3, dense_output=True
    ).sol


def energy(of: Rotor, x: Any, y: Any, v: Any, w: Any) -> Any:
    """Energy (J) about a field that stands at 0: of both masses, of the train, of the magnetic spring."""
    moving = (of.rotor_inertia * v**2 + of.load_inertia * w**2) / 2
    magnetic = of.standing_torque / of.teeth * (1 - np.cos(of.teeth * x))
    return moving + of.spring * (x - y) ** 2 / 2 + magnetic
