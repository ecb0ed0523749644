"""circumstep: motion planning for a home-built rotary axis that turns round parts under a marking laser.

The public API, and nothing else. Names are looked up when they are first used, so that `import firmware_host` is quick.
A run is: `load_job`, `open_station`, and `run` of the station it gives.
"""

from __future__ import annotations

from importlib import import_module
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from firmware_host.clock import Clock, ScaledClock, SystemClock, VirtualClock
    from firmware_host.controller import Controller, Dialect, Difference, FileTrace, Finding, MemoryTrace, list_devices
    from firmware_host.errors import (
        ControllerError,
        FirmwareHostError,
        GateError,
        InputError,
        JournalError,
        LimitExceededError,
        LinkError,
        PlanError,
        RunStoppedError,
        SettingsMismatchError,
    )
    from firmware_host.model import Job, Machine, Motor, Setup, load_job, load_machine, load_motor, schema
    from firmware_host.model.files.profiles import Profile, find_profile, list_profiles, new_profile
    from firmware_host.planning.compare.motors import MotorCandidate, compare_motors
    from firmware_host.planning.compare.sweep import Sweep, SweepPoint, parse_sweep, sweep_limits
    from firmware_host.planning.export.rs274 import rs274_lines
    from firmware_host.planning.layout.choice import explain_choice
    from firmware_host.planning.layout.seams import Seams, TrueSizes
    from firmware_host.planning.layout.segments import SegmentPlan, plan_segments
    from firmware_host.planning.limits.check import check_limits
    from firmware_host.planning.limits.report import LimitCheck, LimitReport, Verdict
    from firmware_host.planning.plan import JobPlan, Layout, plan_job, plan_layout
    from firmware_host.planning.reliability.estimate import Reliability, reliability
    from firmware_host.planning.route.moves import MoveProgram, Route
    from firmware_host.reporting.documents import segments_document
    from firmware_host.reporting.moves import moves_csv, moves_document
    from firmware_host.simulator.boards import simulated_device
    from firmware_host.simulator.serving.serve import serve
    from firmware_host.station.gates.command import CommandGate
    from firmware_host.station.gates.controller_output import ControllerOutputGate
    from firmware_host.station.gates.gate import Gate, GateContext, PassRequest, PassState, build_gate, gate_kinds
    from firmware_host.station.gates.modem_lines import ModemLinesGate
    from firmware_host.station.gates.operator import OperatorGate
    from firmware_host.station.gates.tcp import TcpGate
    from firmware_host.station.gates.timed import TimedGate
    from firmware_host.station.journal.record import PassRecord, RunRecord
    from firmware_host.station.opened import OpenStation, open_station
    from firmware_host.station.opening import find_controllers, open_controller
    from firmware_host.station.operator import Operator, TerminalOperator
    from firmware_host.station.progress import Progress, SilentProgress
    from firmware_host.station.resume import Zero, resume_run, unknown_passes
    from firmware_host.station.run import Station, require_limits, run_job
    from firmware_host.station.runs.folder import RunFolder
    from firmware_host.station.runs.listing import ListedRun, list_runs, read_record
    from firmware_host.station.runs.status import Place, RunStatus, run_status
    from firmware_host.station.runs.verify import RunFinding, verify_run
    from firmware_host.station.settings.check import require_fitting, settings_differences
    from firmware_host.station.settings.known_scale import KnownScales, state_folder
    from firmware_host.station.settings.write import (
        backup_path,
        newest_backup,
        restore_kept,
        settings_changes,
        write_for_plan,
    )
    from firmware_host.station.stop_request import StopRequest

_HOMES = MappingProxyType(
    {
        "Clock": "firmware_host.clock",
        "ScaledClock": "firmware_host.clock",
        "SystemClock": "firmware_host.clock",
        "VirtualClock": "firmware_host.clock",
        "Controller": "firmware_host.controller",
        "Dialect": "firmware_host.controller",
        "Difference": "firmware_host.controller",
        "FileTrace": "firmware_host.controller",
        "Finding": "firmware_host.controller",
        "MemoryTrace": "firmware_host.controller",
        "list_devices": "firmware_host.controller",
        "ControllerError": "firmware_host.errors",
        "FirmwareHostError": "firmware_host.errors",
        "GateError": "firmware_host.errors",
        "InputError": "firmware_host.errors",
        "JournalError": "firmware_host.errors",
        "LimitExceededError": "firmware_host.errors",
        "LinkError": "firmware_host.errors",
        "PlanError": "firmware_host.errors",
        "RunStoppedError": "firmware_host.errors",
        "SettingsMismatchError": "firmware_host.errors",
        "Job": "firmware_host.model",
        "Machine": "firmware_host.model",
        "Motor": "firmware_host.model",
        "Setup": "firmware_host.model",
        "load_job": "firmware_host.model",
        "load_machine": "firmware_host.model",
        "load_motor": "firmware_host.model",
        "schema": "firmware_host.model",
        "Profile": "firmware_host.model.files.profiles",
        "find_profile": "firmware_host.model.files.profiles",
        "list_profiles": "firmware_host.model.files.profiles",
        "new_profile": "firmware_host.model.files.profiles",
        "rs274_lines": "firmware_host.planning.export.rs274",
        "moves_csv": "firmware_host.reporting.moves",
        "moves_document": "firmware_host.reporting.moves",
        "LimitCheck": "firmware_host.planning.limits.report",
        "LimitReport": "firmware_host.planning.limits.report",
        "Verdict": "firmware_host.planning.limits.report",
        "check_limits": "firmware_host.planning.limits.check",
        "MotorCandidate": "firmware_host.planning.compare.motors",
        "compare_motors": "firmware_host.planning.compare.motors",
        "MoveProgram": "firmware_host.planning.route.moves",
        "Route": "firmware_host.planning.route.moves",
        "JobPlan": "firmware_host.planning.plan",
        "Layout": "firmware_host.planning.plan",
        "plan_job": "firmware_host.planning.plan",
        "plan_layout": "firmware_host.planning.plan",
        "Seams": "firmware_host.planning.layout.seams",
        "TrueSizes": "firmware_host.planning.layout.seams",
        "explain_choice": "firmware_host.planning.layout.choice",
        "SegmentPlan": "firmware_host.planning.layout.segments",
        "plan_segments": "firmware_host.planning.layout.segments",
        "Reliability": "firmware_host.planning.reliability.estimate",
        "reliability": "firmware_host.planning.reliability.estimate",
        "Sweep": "firmware_host.planning.compare.sweep",
        "SweepPoint": "firmware_host.planning.compare.sweep",
        "parse_sweep": "firmware_host.planning.compare.sweep",
        "sweep_limits": "firmware_host.planning.compare.sweep",
        "segments_document": "firmware_host.reporting.documents",
        "simulated_device": "firmware_host.simulator.boards",
        "serve": "firmware_host.simulator.serving.serve",
        "Gate": "firmware_host.station.gates.gate",
        "GateContext": "firmware_host.station.gates.gate",
        "PassRequest": "firmware_host.station.gates.gate",
        "PassState": "firmware_host.station.gates.gate",
        "build_gate": "firmware_host.station.gates.gate",
        "gate_kinds": "firmware_host.station.gates.gate",
        "CommandGate": "firmware_host.station.gates.command",
        "ControllerOutputGate": "firmware_host.station.gates.controller_output",
        "ModemLinesGate": "firmware_host.station.gates.modem_lines",
        "OperatorGate": "firmware_host.station.gates.operator",
        "TcpGate": "firmware_host.station.gates.tcp",
        "TimedGate": "firmware_host.station.gates.timed",
        "KnownScales": "firmware_host.station.settings.known_scale",
        "state_folder": "firmware_host.station.settings.known_scale",
        "OpenStation": "firmware_host.station.opened",
        "open_station": "firmware_host.station.opened",
        "find_controllers": "firmware_host.station.opening",
        "open_controller": "firmware_host.station.opening",
        "Operator": "firmware_host.station.operator",
        "TerminalOperator": "firmware_host.station.operator",
        "RunStatus": "firmware_host.station.runs.status",
        "Place": "firmware_host.station.runs.status",
        "run_status": "firmware_host.station.runs.status",
        "Progress": "firmware_host.station.progress",
        "SilentProgress": "firmware_host.station.progress",
        "PassRecord": "firmware_host.station.journal.record",
        "RunRecord": "firmware_host.station.journal.record",
        "Zero": "firmware_host.station.resume",
        "resume_run": "firmware_host.station.resume",
        "unknown_passes": "firmware_host.station.resume",
        "Station": "firmware_host.station.run",
        "require_limits": "firmware_host.station.run",
        "run_job": "firmware_host.station.run",
        "RunFolder": "firmware_host.station.runs.folder",
        "ListedRun": "firmware_host.station.runs.listing",
        "list_runs": "firmware_host.station.runs.listing",
        "read_record": "firmware_host.station.runs.listing",
        "require_fitting": "firmware_host.station.settings.check",
        "settings_changes": "firmware_host.station.settings.write",
        "settings_differences": "firmware_host.station.settings.check",
        "backup_path": "firmware_host.station.settings.write",
        "newest_backup": "firmware_host.station.settings.write",
        "restore_kept": "firmware_host.station.settings.write",
        "write_for_plan": "firmware_host.station.settings.write",
        "StopRequest": "firmware_host.station.stop_request",
        "RunFinding": "firmware_host.station.runs.verify",
        "verify_run": "firmware_host.station.runs.verify",
    }
)

__all__ = [
    "Clock",
    "CommandGate",
    "Controller",
    "ControllerError",
    "ControllerOutputGate",
    "Dialect",
    "Difference",
    "FileTrace",
    "Finding",
    "FirmwareHostError",
    "Gate",
    "GateContext",
    "GateError",
    "InputError",
    "Job",
    "JobPlan",
    "JournalError",
    "KnownScales",
    "Layout",
    "LimitCheck",
    "LimitExceededError",
    "LimitReport",
    "LinkError",
    "ListedRun",
    "Machine",
    "MemoryTrace",
    "ModemLinesGate",
    "Motor",
    "MotorCandidate",
    "MoveProgram",
    "OpenStation",
    "Operator",
    "OperatorGate",
    "PassRecord",
    "PassRequest",
    "PassState",
    "Place",
    "PlanError",
    "Profile",
    "Progress",
    "Reliability",
    "Route",
    "RunFinding",
    "RunFolder",
    "RunRecord",
    "RunStatus",
    "RunStoppedError",
    "ScaledClock",
    "Seams",
    "SegmentPlan",
    "SettingsMismatchError",
    "Setup",
    "SilentProgress",
    "Station",
    "StopRequest",
    "Sweep",
    "SweepPoint",
    "SystemClock",
    "TcpGate",
    "TerminalOperator",
    "TimedGate",
    "TrueSizes",
    "Verdict",
    "VirtualClock",
    "Zero",
    "backup_path",
    "build_gate",
    "check_limits",
    "compare_motors",
    "explain_choice",
    "find_controllers",
    "find_profile",
    "gate_kinds",
    "list_devices",
    "list_profiles",
    "list_runs",
    "load_job",
    "load_machine",
    "load_motor",
    "moves_csv",
    "moves_document",
    "new_profile",
    "newest_backup",
    "open_controller",
    "open_station",
    "parse_sweep",
    "plan_job",
    "plan_layout",
    "plan_segments",
    "read_record",
    "reliability",
    "require_fitting",
    "require_limits",
    "restore_kept",
    "resume_run",
    "rs274_lines",
    "run_job",
    "run_status",
    "schema",
    "segments_document",
    "serve",
    "settings_changes",
    "settings_differences",
    "simulated_device",
    "state_folder",
    "sweep_limits",
    "unknown_passes",
    "verify_run",
    "write_for_plan",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(home), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
