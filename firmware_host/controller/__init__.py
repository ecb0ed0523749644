"""The wire: ports, dialects, the sender and the controller's stored settings. Knows nothing of segments."""

from firmware_host.controller.controller import Controller
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.finding import Finding, SerialDevice, find, list_devices
from firmware_host.controller.port import Port
from firmware_host.controller.registry import dialect_names, load_dialect
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.serial_port import open_port
from firmware_host.controller.session import RestProof
from firmware_host.controller.settings import ControllerSettings, Difference, HeldNumber, WantedSettings, decimal_text
from firmware_host.controller.stopping import StopReport
from firmware_host.controller.trace import FileTrace, MemoryTrace, Trace

__all__ = [
    "AxisState",
    "Controller",
    "ControllerSettings",
    "Dialect",
    "Difference",
    "FileTrace",
    "Finding",
    "HeldNumber",
    "MemoryTrace",
    "Port",
    "RestProof",
    "SerialDevice",
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
