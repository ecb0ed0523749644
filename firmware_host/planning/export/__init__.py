"""Moves for other interpreters: RS-274 words."""
