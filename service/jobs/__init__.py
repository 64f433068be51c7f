"""Long work in processes of its own."""
