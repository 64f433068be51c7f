"""The search over lays, and the ways that are compared with what it finds."""
