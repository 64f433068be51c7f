"""Two walks round one log, which was rolled and moved between them, made one: a room of `scans`."""
