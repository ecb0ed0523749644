"""How a duration is written for people."""

from __future__ import annotations


def duration_text(duration_s: float) -> str:
    """A duration (s) for people: "12 s", "3 min 05 s", "2 h 10 min"."""
    seconds = round(duration_s)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min {seconds % 60:02d} s"
    return f"{seconds // 3600} h {seconds % 3600 // 60:02d} min"
