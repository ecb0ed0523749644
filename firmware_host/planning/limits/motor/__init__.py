"""Limits of the motor, its driver and its supply: torque, steps, swinging, heat, current."""
