"""Decisions: marking window, segments, exact steps, velocity curves, limits and the move program."""
