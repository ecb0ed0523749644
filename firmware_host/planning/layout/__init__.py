"""Where the segments fall: marking window, segments, seams, gaps in the artwork."""
