"""The moves in exact steps: targets, coordinates, unwinding, velocity."""
