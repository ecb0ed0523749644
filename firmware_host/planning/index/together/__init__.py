"""The motions of many parts that are nearly alike, in one go."""
