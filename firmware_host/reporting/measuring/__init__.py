"""What was measured, and what follows from it, as documents."""
