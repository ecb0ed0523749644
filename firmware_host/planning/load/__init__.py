"""What the motor has to move: the part, the drive, the supply, as one load case."""
