"""What is shown of controllers and profiles."""
