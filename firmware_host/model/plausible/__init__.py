"""What a value of a machine of this kind can be: ranges and cross-checks as data, with the likely slips."""
