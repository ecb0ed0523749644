"""The front door: parses, calls, prints; decides nothing."""
