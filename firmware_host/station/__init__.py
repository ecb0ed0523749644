"""A run: gates, the journal, the run loop and resume."""
