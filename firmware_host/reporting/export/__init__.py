"""The moves as files: one class for each format, and the list of them."""
