"""Limits of what carries the part: bearings, tailstock, slenderness, and what holds it without power."""
