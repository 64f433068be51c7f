"""Lengths in notes and refusals: SI in braces, `{2.95 m}`, so that the border writes them in the reader's units.

The notation is that of `optimizer/quantities.py`: metres for a long length, centimetres for a short one.
"""


def long_length(length_m: float) -> str:
    """Return a length along the log. Shown to half an inch, or a centimetre."""
    return _braced(length_m, "m")


def short_length(length_m: float) -> str:
    """Return a thickness or a distance. Shown to an eighth of an inch, or a millimetre."""
    return _braced(100.0 * length_m, "cm")


def _braced(value: float, unit: str) -> str:
    # A hair under nothing is nothing, not -0.
    shown = f"{round(value, 4) + 0.0:.4f}"
    return f"{{{shown.rstrip('0').rstrip('.')} {unit}}}"
