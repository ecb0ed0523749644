"""Simulated boards of the dialect `numbered-line`."""
