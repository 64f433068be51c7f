"""Which points of a scan are the log's: its unit and up, the ground, and what lies about."""
