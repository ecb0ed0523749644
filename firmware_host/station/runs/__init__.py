"""The folders of runs: made, listed, verified, and how each run stands."""
