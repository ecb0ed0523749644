"""The kinds of gate: how the marking side is told to mark and says that it is done."""
