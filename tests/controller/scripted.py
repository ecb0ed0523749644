"""A sender on a scripted port."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.clock import VirtualClock
from firmware_host.controller.counting_sender import CountingSender
from firmware_host.controller.status_query import StatusQueryDialect
from firmware_host.controller.trace import MemoryTrace
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
