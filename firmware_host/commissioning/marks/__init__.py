"""Test marks, and how to read them by eye."""
