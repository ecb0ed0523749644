"""How the turning reaches the part: one file for each kind of drive, and the list of them."""
