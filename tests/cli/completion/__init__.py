"""What a shell is told at each TAB."""
