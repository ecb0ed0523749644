"""Which port is meant, however it is spelt, and whether another program has it."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import Protocol, cast
from urllib.parse import urlsplit

if sys.platform == "win32":
    from firmware_host.system.windows import ports as _here
else:
    from firmware_host.system.posix import ports as _here

_NETWORK = ("socket", "rfc2217")
"""Kinds of address whose options say how to talk and not with whom."""
_LOOPBACK = "127.0.0.1"
_SHORTEST_NUMBER = 6
"""Characters; shorter serial numbers are those of a chip as it is delivered, and many boards have the same."""


class _Line(Protocol):
    """A line as the system lists it."""

    device: str
    vid: int | None
    pid: int | None
    serial_number: str | None


def device_key(url: str) -> str:
    """The device or address that a port is opened at: the same for all spellings and links. A lock goes by this."""
    if "://" in url:
        return _address(url.lower())
    try:
        return _here.device(url)
    except ValueError:  # a zero byte: no port has this name
        return url


def port_key(url: str) -> str:
    """Whose port it is: the serial number of the board's USB device if it is the only one with it, else `device_key`.

    What is kept about a controller goes by this: it stays the same when the cable is put into another socket.
    """
    device = device_key(url)
    listed = () if "://" in url else tuple(_listed())
    names = {device_key(info.device): _usb_key(info) for info in listed}
    own = names.get(device, "")
    return own if own and list(names.values()).count(own) == 1 else device


def device_names() -> tuple[str, ...]:
    """The devices of this computer's serial lines, sorted; none where it can't list them. Opens none."""
    return tuple(sorted(info.device for info in _listed()))


def is_busy(error: BaseException) -> bool:
    """Whether opening a port failed because another program has it, as the system's own error says."""
    return _here.is_busy(error)


def is_missing(error: BaseException) -> bool:
    """Whether opening a port failed because there is none of this name, as the system's own error says."""
    return _here.is_missing(error)


def is_denied(error: BaseException) -> bool:
    """Whether opening a port failed because this user may not open it, as the system's own error says."""
    return _here.is_denied(error)


def how_to_be_let_in(url: str) -> str:
    """What a user who may not open the device can do about it, a sentence or two without the last stop."""
    return _here.how_to_be_let_in(device_key(url))


def _address(url: str) -> str:
    """A lower-case address without its options; this computer's own name is that of its loopback address."""
    try:
        parts = urlsplit(url)
        host, number = parts.hostname, parts.port
    except ValueError:  # no address that could be opened
        return url
    if parts.scheme not in _NETWORK or host is None:
        return url
    place = _LOOPBACK if host == "localhost" else host
    return f"{parts.scheme}://{place}" + (f":{number}" if number is not None else "")


def _listed() -> Iterable[_Line]:
    try:
        from serial.tools import list_ports

        return cast("Iterable[_Line]", list_ports.comports())
    except (ImportError, OSError):  # a system that can't list its ports
        return ()


def _usb_key(info: _Line) -> str:
    """Maker, model and serial number; empty where there is no number, or none that tells boards apart."""
    number = (info.serial_number or "").strip()
    if info.vid is None or info.pid is None or len(number) < _SHORTEST_NUMBER or len(set(number)) == 1:
        return ""
    return f"usb:{info.vid:04x}:{info.pid:04x}:{number}"
