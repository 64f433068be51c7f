"""What the user got wrong in a file or an option."""


class InputError(ValueError):
    """A file or an option that cannot be used; the message says what and how to mend it, in one line."""
