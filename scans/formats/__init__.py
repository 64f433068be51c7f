"""Files of any known format to a Scan: points, faces and colors as arrays, and nothing made of them yet."""
