"""Limits of a part on rollers: grip, seating, creep, walk."""
