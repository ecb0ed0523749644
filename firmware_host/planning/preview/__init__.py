"""What a mark will look like, and what wrong numbers make of it."""
