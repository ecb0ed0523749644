"""The dialect `numbered-line`: words, sender, controller."""
