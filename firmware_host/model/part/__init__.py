"""The part: solid, tube, cone, stepped, mesh file, or measured."""
