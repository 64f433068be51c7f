"""What is said of long work that waits."""

_DOES = {"read": "reading", "walk": "fitting a scan to", "plan": "planning", "way": "pricing"}


def behind_words(kind: str, name: str, more: int) -> str:
    """Say what a job waits behind. kind, name : what the next does, and its log. more : jobs beside it."""
    return f"Waiting behind {_DOES.get(kind, 'work on')} {name}{f' and {more} more' if more else ''}."
