"""What single layers of a lay are worth by the search's own measure, rows in height steps above the bunks."""

from optimizer.stations.passes import layer_between, room_of


def _between(table, terms, entry, top, top_row, top_off_m, bottom, bottom_row, bottom_off_m):
    rows = top_row - table.lowest_row, bottom_row - table.lowest_row
    return float(
        layer_between(terms, table, entry, top, rows[0], top_off_m, bottom, rows[1], bottom_off_m, room_of(table), 0.0)
    )


def value_of_layer(table, terms, entry, upper_row, lower_row):
    """What the layer between two passes brings as one entry of the menu."""
    return _between(table, terms, entry, table.upper, upper_row, 0.0, table.lower, lower_row, terms.kerf_m)


def value_of_flipped_layer(table, terms, entry, upper_row, lower_row):
    """The same between two passes made after the flip; their rows in the first bed frame."""
    return _between(table, terms, entry, table.under, upper_row, -terms.kerf_m, table.upper, lower_row, 0.0)


def value_of_bed_layer(table, terms, entry, face_row, last_row):
    """The same for the piece on the bunks after the flip, from the face it lies on to the last pass."""
    return _between(table, terms, entry, table.upper, face_row, 0.0, table.upper, last_row, 0.0)
