"""What nobody stated: the range each such datum lies in, and the descriptions that this leaves possible."""
