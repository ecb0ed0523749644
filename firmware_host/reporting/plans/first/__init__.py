"""What a person reads first of a plan: the answer, then what matters most."""
