"""The job: mark, marking window, gate."""
