"""The wire: ports, dialects, the sender and the controller's stored settings. Knows nothing of segments."""

from firmware_host.controller.axis import StandstillProof
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller, Description, StopReport
from firmware_host.controller.dialect import Capabilities, Dialect
from firmware_host.controller.finding import Finding, SerialDevice, find, list_devices
from firmware_host.controller.learned import Beyond, Fact, Learned, Listing, Position, Source
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.serial_port import open_port
from firmware_host.controller.port.trace import FileTrace, MemoryTrace, Trace
from firmware_host.controller.registry import dialect_names, load_dialect
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.stored_settings import (
    ControllerSettings,
    Difference,
    StatedSettings,
    StoredNumber,
    WantedSettings,
    decimal_text,
)

__all__ = [
    "AxisState",
    "Beyond",
    "Capabilities",
    "Controller",
    "ControllerSettings",
    "Description",
    "Dialect",
    "Difference",
    "Fact",
    "FileTrace",
    "Finding",
    "Learned",
    "Listing",
    "MemoryTrace",
    "Port",
    "Position",
    "SerialDevice",
    "Source",
    "StandstillProof",
    "StatedSettings",
    "StatusReport",
    "StopReport",
    "StoredNumber",
    "Trace",
    "WantedSettings",
    "connect",
    "decimal_text",
    "dialect_names",
    "find",
    "list_devices",
    "load_dialect",
    "open_port",
]
