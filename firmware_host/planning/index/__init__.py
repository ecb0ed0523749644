"""The index move: how it rings, what bounds it, and the quickest safe one."""
