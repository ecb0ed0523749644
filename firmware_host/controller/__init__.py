"""The wire: ports, dialects, the sender and the controller's stored settings. Knows nothing of segments."""

from firmware_host.controller.controller import Controller
from firmware_host.controller.dialect import Abilities, Dialect
from firmware_host.controller.finding import Finding, SerialDevice, find, list_devices
from firmware_host.controller.port import Port
from firmware_host.controller.registry import dialect_names, load_dialect
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.serial_port import open_port
from firmware_host.controller.session import Description, RestProof, StopReport
from firmware_host.controller.settings import (
    ControllerSettings,
    Difference,
    HeldNumber,
    StatedSettings,
    WantedSettings,
    decimal_text,
)
from firmware_host.controller.trace import FileTrace, MemoryTrace, Trace

__all__ = [
    "Abilities",
    "AxisState",
    "Controller",
    "ControllerSettings",
    "Description",
    "Dialect",
    "Difference",
    "FileTrace",
    "Finding",
    "HeldNumber",
    "MemoryTrace",
    "Port",
    "RestProof",
    "SerialDevice",
    "StatedSettings",
    "StatusReport",
    "StopReport",
    "Trace",
    "WantedSettings",
    "decimal_text",
    "dialect_names",
    "find",
    "list_devices",
    "load_dialect",
    "open_port",
]
