"""What stands in a trace that was kept in memory."""

from __future__ import annotations

from firmware_host.controller.port.trace import MemoryTrace, TraceKind


def of_kind(trace: MemoryTrace, kind: TraceKind) -> tuple[bytes, ...]:
    """The bytes of all records of one kind, in order."""
    return tuple(entry.data for entry in trace.entries if entry.kind is kind)
