"""What notes, cautions and refusals are made of: quantities in SI, in braces, and what somebody typed.

The border writes quantities in the reader's units. The coarser the unit, the coarser it is shown: `{2.95 m}` is a
length along the log, `{5.3 dm}` a width, `{8.9 cm}` a short length, such as a shim, `{624.8 mm}` an exact one, such as
a blade height; `{1077.3 kg}` is a mass.
"""


def long_length(length_m: float) -> str:
    """Return a length along the log. Shown to half an inch, or a centimetre."""
    return _braced(length_m, "m")


def short_length(length_m: float) -> str:
    """Return a shim, a width, a keep-out. Shown to an eighth of an inch, or a millimetre."""
    return _braced(100.0 * length_m, "cm")


def width(width_m: float) -> str:
    """Return a width of a face or a slab. Shown to half an inch, or a millimetre."""
    return _braced(10.0 * width_m, "dm")


def exact_length(length_m: float) -> str:
    """Return a blade height. Shown as finely as a tape shows it."""
    return _braced(1000.0 * length_m, "mm")


def mass(mass_kg: float) -> str:
    """Return a mass. Shown to a pound, or a kilogram."""
    return _braced(mass_kg, "kg")


def _braced(value: float, unit: str) -> str:
    # A hair under nothing is nothing, not -0.
    shown = f"{round(value, 4) + 0.0:.4f}"
    return f"{{{shown.rstrip('0').rstrip('.')} {unit}}}"


_MOST_LETTERS = 60


def quoted(typed: object) -> str:
    r"""Return the start of what somebody typed, in letters that every output can write.

    A half of a surrogate pair, as JSON and file names may hold one, is shown as its number: `\ud800`.
    """
    try:
        text = str(typed)
    except ValueError:  # of a number in hexadecimal, which has more digits than Python writes
        return "a number of thousands of digits"
    kept = text if len(text) <= _MOST_LETTERS else f"{text[:_MOST_LETTERS]}..."
    return writable(kept)


def writable(text: str) -> str:
    """Return a text in letters that every output can write."""
    return text.encode(errors="backslashreplace").decode()
