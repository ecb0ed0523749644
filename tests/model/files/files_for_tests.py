"""A correct machine, motor and job file, to be spoilt one line at a time."""

from __future__ import annotations

from pathlib import Path

MOTOR = """\
name = "test motor"
full_steps_per_revolution = 200
rated_current = "2 A"
holding_torque = "1 N*m"
rotor_inertia = "200 g*cm^2"
[torque_curve]
supply_voltage = "24 V"
points = [
  { speed = "60 rpm", torque = "0.8 N*m" },
  { speed = "300 rpm", torque = "0.5 N*m" },
]
"""

MACHINE = """\
version = 1
name = "test machine"
motor = "motor.toml"

[driver]
microsteps = 16
current = "1.5 A"
supply_voltage = "24 V"
highest_step_rate = "100 kHz"

[[gearing]]
name = "belt"
driving_teeth = 20
driven_teeth = 60

[[gearing]]
name = "worm"
ratio = "60/1"

[drive]
kind = "chuck"
inertia = "4200 g*cm^2"

[axis]
letter = "A"
unit = "deg"

[link]
highest_step_rate = "28 kHz"
"""

JOB = """\
# one part
version = 1
name = "test job"
machine = "machine.toml"

[part]
kind = "tube"
diameter = "50 mm"
inner_diameter = "44 mm"
length = "100 mm"
density = "7860 kg/m^3"

[mark]
arc = "60 mm"
passes = 2
gaps = [
  { at = "10 mm", width = "1 mm" },
  { at = "20 mm", width = "1 mm" },
]

[window]
half_depth = "0.5 mm"

[gate]
kind = "timed"
duration = "2 s"
"""

TEXTS = {"motor": MOTOR, "machine": MACHINE, "job": JOB}


def write_all(folder: Path, **replaced: str) -> Path:
    """Write motor.toml, machine.toml and job.toml into the folder; the job's path."""
    for kind, text in (TEXTS | replaced).items():
        (folder / f"{kind}.toml").write_text(text, encoding="utf-8")
    return folder / "job.toml"
