"""What can be wrong with a scan, a mesh or a log sheet.

ScanError
|-- OpenSolidError    the surface does not close
|-- NotALogError      closed, but no log: wrong size, several bodies, no long axis
|-- DoubtfulScanError  what a scan's unit or up axis is cannot be told; the message asks for a field
|-- SheetError        a log sheet that contradicts itself
"""

from scans.messages import Refusal


class ScanError(Refusal):
    """Something from the user that cannot become a Log; the message says what and how to fix it."""


class OpenSolidError(ScanError):
    """The surface does not close, so that it has no inside."""


class NotALogError(ScanError):
    """A closed solid that no log could be."""


class SheetError(ScanError):
    """A log sheet whose numbers contradict each other."""


def sheet_error(field: str, text: str, mend: str = "") -> SheetError:
    """Return the error of a log sheet's field, `section[2].at`, which its message names in words: section 2, at."""
    in_words = field.replace("[", " ").replace("]", "").replace(".", ", ")
    return SheetError(f"{in_words}: {text}", mend, field=field)


class DoubtfulScanError(ScanError):
    """What can be read in more ways than one; the message names the field that settles it."""
