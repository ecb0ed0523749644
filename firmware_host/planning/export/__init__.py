"""Moves as files: RS-274, table, JSON."""
