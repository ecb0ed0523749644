"""The controller's settings against the plan: compared, written, and what we know of them."""
