"""A batch: part after part of one job, each a run of its own, and between them time to change the part."""
