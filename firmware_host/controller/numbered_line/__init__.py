"""The dialect `numbered-line`: words, sender, session."""
