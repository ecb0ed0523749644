"""The pages of the docs: every block is carried out, checked, or on a short list with a reason."""
