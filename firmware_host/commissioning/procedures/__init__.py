"""The procedures of commissioning, one a file."""
