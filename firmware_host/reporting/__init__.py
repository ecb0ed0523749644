"""What a person looks at: tables of segments, limits and runs."""
