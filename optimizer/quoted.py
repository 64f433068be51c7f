"""What somebody typed, as an error may repeat it."""

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
