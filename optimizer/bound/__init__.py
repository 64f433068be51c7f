"""A proven upper bound on the net of every lay."""
