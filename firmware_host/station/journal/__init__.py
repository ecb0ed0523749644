"""The journal of a run, and what it says: record, last position."""
