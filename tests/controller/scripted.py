"""A sender on a scripted port."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.status_query.sender import CountingSender
from tests.support.scripted_port import ScriptedPort

IDLE = b"<Idle|MPos:0.000,0.000,0.000>\r\n"
GREETING = b"\r\nBoard ['$' for help]\r\n"


@dataclass
class Rig:
    clock: VirtualClock
    port: ScriptedPort
    trace: MemoryTrace
    sender: CountingSender


def rig() -> Rig:
    clock = VirtualClock()
    port = ScriptedPort(clock)
    trace = MemoryTrace(clock)
    return Rig(clock, port, trace, CountingSender(port, StatusQueryDialect(), clock, trace))
