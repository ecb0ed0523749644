"""What is shown of a plan: segments, limits, motors, moves."""
