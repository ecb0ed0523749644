"""The station page: what a run is at, huge, in a browser of this computer, with the buttons of whoever watches it."""
