"""Keys that no figure of a plan depends on: why, and the file that reads them."""

from __future__ import annotations

READ_ELSEWHERE: dict[str, tuple[str, str]] = {}


def _read(where: str, why: str, *keys: str) -> None:
    READ_ELSEWHERE.update(dict.fromkeys(keys, (why, where)))


_FORM = "the form of the file: one is known"
_read("model/base.py", _FORM, "machine.version", "machine.motor.version", "job.version")
_NAME = "a name, by which reports, runs and messages call it"
_read("station/run.py", _NAME, "machine.name", "job.name")
_read("reporting/plans/motors.py", _NAME, "machine.motor.name")
_read("reporting/plans/motors.py", "for people: where the motor's figures come from", "machine.motor.data")
_read("planning/limits/bearings/supports.py", _NAME, "machine.gearing[].name")
_read("model/files/loading.py", "which machine file is read", "job.machine")
_read("model/machine/drives/registry.py", "decides which keys there are", "machine.drive[chuck].kind")
_read("model/machine/drives/registry.py", "decides which keys there are", "machine.drive[rollers].kind")
_PARTS = ("solid", "tube", "cone", "stepped", "measured", "mesh")
_read("model/part/part.py", "decides which keys there are", *(f"job.part[{kind}].kind" for kind in _PARTS))
_BODIES = ("cylinder", "box")
_read("model/part/bodies.py", "decides which keys there are", *(f"job.part.bodies[][{kind}].kind" for kind in _BODIES))
_read(
    "model/part/part.py",
    "refused: its volume is not known, so it has to be weighed",
    "job.part[measured].density",
    "job.part[measured].material",
)
_read("planning/body.py", "which mesh is read", "job.part[mesh].file")
_LINK = "of the line to the controller, not of the plan"
_read(
    "station/opening.py",
    _LINK,
    *(f"machine.link.{key}" for key in ("port", "baud", "dialect", "reset_wait")),
    *(f"machine.link.stated.{key}" for key in ("steps_per_unit", "rate", "acceleration", "rates_per", "quick_stop")),
)
_read("planning/route/moves.py", "only of moves by a few microsteps", "machine.link.stated.shortest_move")
_read("planning/export/rs274.py", "of the moves as sent and exported", "machine.axis.letter", "machine.axis.unit")
_read("planning/export/rs274.py", "of the moves as sent and exported", "machine.axis.reversed")
_read("reporting/plans/card.py", "told to the person at the laser", "machine.axis.turns")
_read("station/opened.py", "whether a run may release the motor, and what resuming says", "machine.axis.unpowered")
_read("simulator/boards.py", "whether the simulated axis can be homed", "machine.axis.home_switch")
_read(
    "planning/compare/advice.py",
    "bounds the motors and currents that are advised, and contradicts a higher current",
    "machine.driver.highest_current",
)

_GATES = {
    "operator": ("operator", ("kind", "timeout")),
    "command": ("command", ("kind", "timeout")),
    "tcp": ("tcp", ("kind", "port", "timeout", "connect")),
    "modem-lines": (
        "modem_lines",
        tuple("kind port output open_is input done_is done_by debounce stop stop_is timeout".split()),
    ),
    "controller-output": ("controller_output", ("kind", "output", "duration", "pin", "timeout")),
    "other": ("gate", ("kind", "options")),
    "timed": ("timed", ("kind",)),
}
for _kind, (_file, _keys) in _GATES.items():
    _read(
        f"station/gates/{_file}.py", "of the run: how a pass is started", *(f"job.gate[{_kind}].{key}" for key in _keys)
    )

_JUMP = "29 November: to be drawn; tests/planning/limits/test_start_jump.py shows what it changes"
NOT_YET_READ: dict[str, str] = {
    "machine.link.stated.start_jump": _JUMP,
    "machine.link.stated.second_step_after": _JUMP,
    "machine.motor.start_stop_rate": _JUMP,
}
"""Keys that nothing reads, with the day and what will; to be empty."""
