"""Pictures of a run: what was planned beside what its journal tells."""
