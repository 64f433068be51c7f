"""What people touch: the command line, and the files it reads and writes."""
