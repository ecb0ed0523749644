"""From a gap or an overlap measured at the seams back to the number that is wrong."""
