"""The commands that show a plan; nothing moves."""
