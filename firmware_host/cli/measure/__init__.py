"""Commands that begin with something measured."""
