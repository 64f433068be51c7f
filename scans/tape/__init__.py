"""A log sheet, measured with tape and calipers, to a Log and its doubt."""
