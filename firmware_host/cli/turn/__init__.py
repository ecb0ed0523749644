"""The commands that turn the part, and those about earlier runs."""
