"""What of a motor belongs together."""

from __future__ import annotations

import re

from firmware_host.model.machine.motor import Motor
from firmware_host.model.plausible.pair import INERTIA_SLIPS, Pair, over


def _torque_over_inertia(motor: Motor) -> float | None:
    rotor = motor.rotor_inertia
    return over(motor.holding_torque, 4e4 * rotor.si if rotor is not None else None)


def _voltage(motor: Motor) -> float | None:
    resistance = motor.resistance
    return over(motor.rated_current, 4 / resistance.si if resistance is not None else None)


def _time_constant(motor: Motor) -> float | None:
    resistance = motor.resistance
    return over(motor.inductance, 2e-3 * resistance.si if resistance is not None else None)


def _detent(motor: Motor) -> float | None:
    return over(motor.detent_torque, 0.05 * motor.holding_torque.si)


def _highest_point(motor: Motor) -> float | None:
    curve = motor.torque_curve
    most = max((point.torque.si for point in curve.points), default=0.0) if curve is not None else 0.0
    return most / motor.holding_torque.si if most else None


_FRAME = re.compile(r"\s*(?:NEMA\s*)?([0-9]{1,3})(?:\s*mm)?\s*", re.IGNORECASE)
_NEMA_MM = {6: 14, 8: 20, 11: 28, 14: 35, 16: 39, 17: 42, 23: 57, 24: 60, 34: 86, 42: 110, 52: 130}


def frame_mm(frame: str) -> float | None:
    """The face of a frame size like "NEMA 17" or "42 mm", mm; None where it is none that is known."""
    found = _FRAME.fullmatch(frame)
    if found is None:
        return None
    number = int(found[1])
    return float(number) if "mm" in frame else _NEMA_MM.get(number)


def _torque_of_frame(motor: Motor) -> float | None:
    """Holding torque against that of a middling motor of the frame: it grows with the cube of the face."""
    face = frame_mm(motor.frame)
    return over(motor.holding_torque, 0.4 * (face / 42) ** 3.2 if face is not None else None)


def _inertia_of_frame(motor: Motor) -> float | None:
    face = frame_mm(motor.frame)
    return over(motor.rotor_inertia, 60e-7 * (face / 42) ** 4.3 if face is not None else None)


MOTOR_PAIRS = (
    Pair(
        ("holding_torque", "rotor_inertia"),
        "holding_torque {0.holding_torque} with rotor_inertia {0.rotor_inertia}",
        _torque_over_inertia,
        1e-3,
        0.04,
        25,
        1e3,
        (
            (30, 300, "N*m for N*cm?"),
            (300, 3e3, "N*m for N*mm, or g*cm^2 for kg*cm^2?"),
            (3e-3, 0.04, "N*cm for N*m?"),
            (1e-9, 3e-3, "kg*cm^2 or kg*m^2 for g*cm^2?"),
        ),
    ),
    Pair(
        ("resistance", "rated_current"),
        "{0.rated_current} through {0.resistance}",
        _voltage,
        1e-3,
        0.04,
        15,
        300,
        ((1e2, 1e5, "Milliohms for ohms, or milliamperes for amperes?"),),
    ),
    Pair(
        ("inductance", "resistance"),
        "{0.inductance} with {0.resistance}",
        _time_constant,
        1e-3,
        0.04,
        25,
        500,
        ((300, 1e5, "Henries for millihenries?"), (1e-9, 3e-3, "Microhenries for millihenries?")),
    ),
    Pair(
        ("detent_torque", "holding_torque"),
        "detent_torque {0.detent_torque} of a motor that holds {0.holding_torque}",
        _detent,
        1e-4,
        0.01,
        6,
        20,
        ((6, 1e9, "One of the two in N*m for N*cm, or the other way?"),),
    ),
    Pair(
        ("torque_curve.points", "holding_torque"),
        "a torque point above holding_torque {0.holding_torque}",
        _highest_point,
        1e-6,
        1e-3,
        1.2,
        20,
        ((1.2, 1e9, "N*m for N*cm?"),),
    ),
    Pair(
        ("holding_torque", "frame"),
        "holding_torque {0.holding_torque} of frame {0.frame!r}",
        _torque_of_frame,
        1e-4,
        0.04,
        12,
        1e4,
        ((12, 1e3, "N*m for N*cm, or another frame?"), (1e-9, 0.04, "N*cm for N*m, or another frame?")),
    ),
    Pair(
        ("rotor_inertia", "frame"),
        "rotor_inertia {0.rotor_inertia} of frame {0.frame!r}",
        _inertia_of_frame,
        1e-6,
        0.03,
        20,
        1e6,
        INERTIA_SLIPS,
    ),
)
