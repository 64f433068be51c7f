"""A small log, mill and price book for tests of the command line. Invented."""

STRAIGHT = """
name = "Invented cylinder"
species = "white ash"
length = "5 ft"
bark = "off"
end_trim = "1 in"
cost = 20
section = [{at = "0 in", wide = "16 in"}, {at = "5 ft", wide = "15 in"}]
"""
MILL = """
name = "Test mill"
throat = "40 in"
kerf = "1/8 in"
height_step = "1/8 in"
"""
PRICES = """
name = "Test book"
per_board_foot = [{species = "any", quarters = 8, price = 5.0}, {species = "any", quarters = 12, price = 5.5}]
limits = {min_width = "8 in", min_length = "4 ft"}
"""
