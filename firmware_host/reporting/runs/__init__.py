"""What is shown of runs."""
