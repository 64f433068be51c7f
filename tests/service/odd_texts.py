"""Texts that nobody types in good faith, and that each broke something somewhere once."""

HALF = "\ud800"
"""Half of a surrogate pair."""
NINES = "9" * 400
ODD_TEXTS = (
    "", " ", "\x00", HALF, NINES, "9" * 5000, "-1", "-5 in", "nan", "inf", "1e400", "1/0 in", "0", "http://[evil", "²",
    "../../etc", "{1 m}", "{why}", "%", "\u202e", "a" * 5000, "1 ft 2", "x", "1: x", "9999: 1 in x 1 in", "True",
)  # fmt: skip
