"""The user's files: read, checked, located, described by a schema."""
