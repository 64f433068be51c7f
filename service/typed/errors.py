"""What the user got wrong in a file or an option."""

from scans.messages import Refusal


class InputError(Refusal):
    """A file or an option that cannot be used; the message says what and how to fix it, in one line."""
