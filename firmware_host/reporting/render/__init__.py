"""A neutral document as a terminal's tables, as JSON values, and as CSV."""
