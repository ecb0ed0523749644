"""The beam."""
