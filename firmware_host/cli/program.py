"""The program's name, as it is typed, and how a shell asks it for words."""

PROGRAM = "circumstep"

COMPLETION_ASKED_BY = "_CIRCUMSTEP_COMPLETE"
"""The variable by which a shell's script asks what may come next."""
