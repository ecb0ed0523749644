"""What is asked about a motor: of its own file, or of a machine whose motor no file describes."""

from __future__ import annotations

from collections.abc import Callable

from firmware_host.model.interview.forms import full_steps, pairs
from firmware_host.model.interview.question import Answers, Question, always, said

_LABEL = "It stands on the label or in the datasheet."


def motor_questions(prefix: str = "", *, when: Callable[[Answers], bool] = always) -> tuple[Question, ...]:
    """Its questions, for keys below `prefix`."""
    return (
        Question(
            f"{prefix}name",
            "What do you call the motor?",
            "a name that you know it by",
            usual=said("motor by its label") if prefix else lambda answers: "",
            needed=True,
            filler="motor",
            when=when,
        ),
        Question(
            f"{prefix}frame",
            "Its frame size",
            "the length of its face's edge; what is not stated of the motor goes by it",
            'Like "NEMA 23", or "57 mm".',
            when=when,
        ),
        Question(
            f"{prefix}full_steps_per_revolution",
            "Full steps for a turn of the shaft, or the angle of a step",
            "200 full steps are 1.8 deg each; microsteps are not counted in here",
            _LABEL,
            usual=said("200"),
            guess=True,
            needed=True,
            when=when,
            reads=full_steps(prefix),
            fills=(f"{prefix}full_steps_per_revolution", f"{prefix}step_angle"),
        ),
        Question(
            f"{prefix}rated_current",
            "Rated current of a phase",
            "the most that it bears all the time, both phases on",
            f"{_LABEL} The peak of the sine where the driver makes microsteps.",
            needed=True,
            filler="2 A",
            when=when,
        ),
        Question(
            f"{prefix}holding_torque",
            "Holding torque",
            "what it holds at standstill with both phases at rated current",
            _LABEL,
            needed=True,
            filler="1 N*m",
            when=when,
        ),
        *(
            Question(f"{prefix}{key}", asks, why, _LABEL, when=when)
            for key, asks, why in (
                ("rotor_inertia", "Inertia of its rotor", "it has to be sped up with the part"),
                ("resistance", "Resistance of a phase", "for the heat, and the torque at speed"),
                ("inductance", "Inductance of a phase", "for the torque at speed"),
            )
        ),
        Question(
            f"{prefix}torque_curve.supply_voltage",
            "Supply voltage of its torque curve",
            "the torque left at speed was measured at this supply; skip it where there is no curve",
            when=when,
        ),
        Question(
            f"{prefix}torque_curve.points",
            "Points of its torque curve",
            "speed and torque of each, commas between: 30 rpm 0.84 N*m, 150 rpm 0.8 N*m",
            when=lambda answers: when(answers) and _has_curve(answers, prefix),
            needed=True,
            filler="1 rpm 0.05 N*m, 100 rpm 0.05 N*m",
            reads=pairs(f"{prefix}torque_curve.points", ("speed", "torque")),
        ),
    )


def _has_curve(answers: Answers, prefix: str) -> bool:
    given = answers.get(f"{prefix}torque_curve.supply_voltage")
    return given is not None and bool(given.values)
