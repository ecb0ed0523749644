"""The line itself: ports, locks, framing, traces."""
