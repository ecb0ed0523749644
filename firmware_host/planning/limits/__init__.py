"""Every limit of an index move, and the report of all of them."""
