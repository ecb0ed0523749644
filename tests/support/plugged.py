"""USB boards at the serial ports of this computer."""

from __future__ import annotations

import pytest
from serial.tools.list_ports_common import ListPortInfo


def plug(monkeypatch: pytest.MonkeyPatch, **boards: str | None) -> None:
    """Say which boards are plugged in: device = serial number."""
    listed = []
    for device, number in boards.items():
        info = ListPortInfo(f"/dev/{device}")
        info.vid, info.pid, info.serial_number = 0x0403, 0x6001, number
        listed.append(info)
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: listed)
