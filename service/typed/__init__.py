"""What people type and hand in: log sheets, marks, ways, files; read and checked."""
