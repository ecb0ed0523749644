"""Gearing and vibration of the drive train."""
