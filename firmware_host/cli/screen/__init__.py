"""What the front door shows: tables, progress."""
