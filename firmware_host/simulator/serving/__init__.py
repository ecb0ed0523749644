"""A simulated board behind a pseudo-terminal or a socket."""
