"""Pictures of a job: each of its plan alone."""
