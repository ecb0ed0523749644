"""Text that cannot drive a terminal."""

from __future__ import annotations


def printable(text: str) -> str:
    """The text with control characters (of a file or a controller) made visible, so that none drives the terminal."""
    return "".join(char if char.isprintable() or char == "\n" else f"\\x{ord(char):02x}" for char in text)
