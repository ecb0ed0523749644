"""From readings to a value with its standard uncertainty."""
