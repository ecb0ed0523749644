"""How the axis moves: how it swings after a stop, and how quick a ramp it follows."""
