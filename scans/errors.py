"""What can be wrong with a scan, a mesh or a log sheet.

ScanError
|-- OpenSolidError    the surface does not close
|-- NotALogError      closed, but no log: wrong size, several bodies, no long axis
|-- DoubtfulScanError  what a scan's unit or up axis is cannot be told; the message asks for an option
|-- SheetError        a log sheet that contradicts itself
"""


class ScanError(ValueError):
    """Something from the user that cannot become a Log; the message says what and how to mend it."""


class OpenSolidError(ScanError):
    """The surface does not close, so that it has no inside."""


class NotALogError(ScanError):
    """A closed solid that no log could be."""


class SheetError(ScanError):
    """A log sheet whose numbers contradict each other."""


class DoubtfulScanError(ScanError):
    """What can be read in more ways than one; the message says which option settles it."""
