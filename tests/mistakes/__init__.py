"""Common mistakes, each made for real, and the one message that leads to its fix."""
