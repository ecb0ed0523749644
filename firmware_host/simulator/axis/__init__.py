"""The motion of simulated axes, and the float arithmetic of real boards."""
