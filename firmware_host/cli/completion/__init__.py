"""Completion of the command line: what a shell is told at each TAB. No command's own file is imported for it."""
