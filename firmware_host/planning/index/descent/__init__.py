"""The way down to the quickest motions: what the limits leave, a coarse grid, finer ones."""
