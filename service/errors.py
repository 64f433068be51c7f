"""What the user got wrong in a file or an option."""


class InputError(ValueError):
    """A file or an option that cannot be used; the message says what and how to mend it, in one line."""


class OpenScanError(InputError):
    """A scan whose log was found, but that is not closed; `notes` says how it was read, a line each."""

    def __init__(self, message: str, notes: tuple[str, ...]) -> None:
        super().__init__(message)
        self.notes = notes
