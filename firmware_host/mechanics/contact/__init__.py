"""Where bodies touch: rollers, friction, creep, supports."""
