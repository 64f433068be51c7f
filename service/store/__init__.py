"""What is kept: database, files, uploads."""
