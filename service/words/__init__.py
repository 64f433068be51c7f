"""Numbers and plans as people read them."""
