"""Every limit of an index move: one object each, listed in the registry."""
