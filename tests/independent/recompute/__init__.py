"""Every limit once more, in plain Python, from the pages of physics alone: nothing of the program's own arithmetic."""
