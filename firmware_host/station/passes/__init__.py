"""The passes of a run: which, one after the other, and what is wished meanwhile."""
