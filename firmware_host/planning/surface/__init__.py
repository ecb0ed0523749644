"""What moves the surface under the mark besides the planned steps: the lag at standstill, the creep on rollers."""
