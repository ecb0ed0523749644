"""A hand on the axis: a person, or a program, turns the part step by step, and sets its zero."""
