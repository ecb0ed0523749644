"""A motion controller in software: it moves in virtual or scaled time and is reached like a real one."""

from firmware_host.simulator.device import MotionInterval, SimulatedDevice
from firmware_host.simulator.faulty_line import FaultyLine
from firmware_host.simulator.numbered_line_device import NumberedLineDevice
from firmware_host.simulator.numbered_line_member import NumberedLineMember
from firmware_host.simulator.server import DeviceServer
from firmware_host.simulator.serving import serve
from firmware_host.simulator.status_query_device import StatusQueryDevice
from firmware_host.simulator.status_query_member import StatusQueryMember

__all__ = [
    "DeviceServer",
    "FaultyLine",
    "MotionInterval",
    "NumberedLineDevice",
    "NumberedLineMember",
    "SimulatedDevice",
    "StatusQueryDevice",
    "StatusQueryMember",
    "serve",
]
