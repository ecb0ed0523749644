"""circumstep: motion planning for a home-built rotary axis that turns round parts under a marking laser."""
