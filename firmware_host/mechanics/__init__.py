"""Physics: pure functions on SI floats and arrays; numbers in, numbers out."""
