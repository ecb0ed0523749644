"""The program's name, as it is typed."""

PROGRAM = "circumstep"
