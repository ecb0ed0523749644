"""A report: one file to read, to print and to keep."""
