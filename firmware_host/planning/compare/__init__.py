"""Other motors, other values, other motions, and what each limit costs."""
