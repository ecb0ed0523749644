"""Many parts planned in one go, a row of a table each."""
