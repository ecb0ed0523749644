"""A motion controller in software: it moves in virtual or scaled time and is reached like a real one."""

from firmware_host.simulator.device import MotionInterval, SimulatedDevice
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.variant import StatusQueryVariant

__all__ = [
    "DeviceServer",
    "MotionInterval",
    "NumberedLineDevice",
    "NumberedLineVariant",
    "SimulatedDevice",
    "StatusQueryDevice",
    "StatusQueryVariant",
    "serve",
]
