"""The commands that set up machines, files and controllers."""
