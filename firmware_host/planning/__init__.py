"""Decisions: marking window, segments, exact steps, velocity profiles, limits and the move program."""
