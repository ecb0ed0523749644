"""Where operating systems differ: files that are whole or not there."""
