"""What is said of long work that waits."""

from collections.abc import Sequence

_DOES = {"read": "reading", "walk": "fitting a scan to", "plan": "planning", "way": "pricing"}


def behind_words(ahead: Sequence[tuple[str, str]]) -> str:
    """Say what a job waits behind; nothing where nothing is ahead. ahead : what each does, and the log's name."""
    if not ahead:
        return ""
    kind, name = ahead[0]
    more = f" and {len(ahead) - 1} more" if len(ahead) > 1 else ""
    return f"Waiting behind {_DOES.get(kind, 'work on')} {name}{more}."
