"""Measuring a machine that was really built, and finding the wrong number where a mark came out wrong."""
