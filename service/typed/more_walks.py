"""Scans of one log beside the first: the log was rolled, filmed again, and all of them are read as one."""

import hashlib
from dataclasses import dataclass

from scans.errors import ScanError
from scans.formats.reading_apart import read_scan_apart
from scans.formats.scan import ReadingLimits, Scan
from scans.log import Log
from scans.log_of_scan import READING_STAGES, OnStage, ScanChoices, log_of_scans
from scans.messages import Note, named
from scans.solids.log_from_mesh import BarkRatio
from service.typed.errors import InputError
from service.typed.files import SHEET_SUFFIX, FileRead

MOST_ROLLED_DEG = 360.0


@dataclass(frozen=True)
class MoreWalks:
    """Files of scans after the first, and how far the log was rolled before each, as far as the user says it.

    rolled_deg : from how it lay in the first scan, clockwise looking at the butt, before the second scan, the third and
    so on; None where it is to be found.
    """

    files: tuple[FileRead, ...] = ()
    rolled_deg: tuple[float | None, ...] = ()

    def check(self, first: FileRead) -> None:
        """Refuse, before anything is read, what cannot go with the first file. Raises InputError."""
        rolled = named("rolled_deg")
        if len(self.rolled_deg) > len(self.files):
            raise InputError(
                f"{rolled} must be said once at most for each scan after the first, got {len(self.rolled_deg)} for "
                f"{len(self.files)}",
                "leave the others out, or name the scans that belong to them",
                field="rolled_deg",
            )
        for deg in self.rolled_deg:
            if deg is not None and not -MOST_ROLLED_DEG <= deg <= MOST_ROLLED_DEG:
                raise InputError(f"{rolled} must lie in -360 to 360 degrees, got {deg:g}", field="rolled_deg")
        every = (first, *self.files)
        if self.files and (sheet := next((file for file in every if file.suffix == SHEET_SUFFIX), None)) is not None:
            raise InputError(f"{sheet.shown} is a log sheet, which goes with no scan", "name scans alone, or it alone")
        for place, file in enumerate(every):
            if any(file.sha256 == other.sha256 for other in every[:place]):
                raise InputError(
                    f"{file.shown} holds the same scan as a file before it", "name each scan of the log once"
                )

    def log_with(
        self, first: FileRead, name: str, bark_ratio: BarkRatio, choices: ScanChoices, on_stage: OnStage
    ) -> tuple[Log, tuple[Note, ...]]:
        """Return the one log of all scans. Raises InputError, in one line."""
        on_stage(READING_STAGES[0])
        scans = [_read(file) for file in (first, *self.files)]
        try:
            return log_of_scans(scans, name, bark_ratio, choices, self.rolled_deg, on_stage)
        except ScanError as error:
            raise InputError(error.text, error.mend, field=error.field) from None

    def sha256_with(self, first: FileRead) -> str:
        """Return the first file's hash, or where there are more, that of all their hashes, one after the other."""
        if not self.files:
            return first.sha256
        return hashlib.sha256("".join(file.sha256 for file in (first, *self.files)).encode()).hexdigest()


NO_MORE_WALKS = MoreWalks()


def _read(file: FileRead) -> Scan:
    try:
        return read_scan_apart(file.data, file.suffix, ReadingLimits())
    except ScanError as error:
        raise InputError(f"{file.shown}: {error.text}", error.mend, field=error.field) from None
