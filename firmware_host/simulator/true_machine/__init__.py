"""What was really built: a machine that differs from its file, and follows the pulses of a simulated board."""
