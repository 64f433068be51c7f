"""What holds a log on the bed: supports at the bunks, and whether it stands before and after each pass."""
