"""Turning bodies: mass and inertia."""
