"""How likely it is that a job runs without a lost step or a slip, from its data's tolerances."""
