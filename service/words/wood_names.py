"""Woods by the name that people say."""


def wood_said(name: str) -> str:
    """Return a wood's name in the order that people say it in: sugar maple."""
    return " ".join(reversed(name.split(", ")))
