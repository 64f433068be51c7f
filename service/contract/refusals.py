"""What the service refuses, and the one table from errors to HTTP statuses and to what the user can do."""

from optimizer.bed.marks import MarkError
from optimizer.documents.prices import PriceError
from optimizer.planning import NoPlanError
from optimizer.search.given import GivenError
from optimizer.wood.woods import UnknownSpeciesError
from scans.errors import ScanError
from scans.messages import Refusal
from scans.units import LengthError
from service.contract.documents import ErrorShown
from service.contract.job_state import JobStateError
from service.typed.errors import InputError


class NotFoundError(LookupError):
    """Something that is not here, or no more."""


class NotReadyError(ValueError):
    """Something that is asked of a log before it was read, or that cannot be done now."""


class ConflictError(ValueError):
    """Something that cannot be, as something else is."""


class TooLargeError(ValueError):
    """A body over its limit."""


class DiskFullError(OSError):
    """No room for a file."""


class TooManyError(ValueError):
    """More of something than is allowed at once. retry_seconds : when to come again."""

    def __init__(self, message: str, retry_seconds: int = 10) -> None:
        super().__init__(message)
        self.retry_seconds = retry_seconds


class NotSignedInError(PermissionError):
    """Nobody is signed in, or the passphrase is wrong."""


class ForeignSiteError(PermissionError):
    """A request that a page of another site made."""


class WrongHostError(ValueError):
    """A name that the service does not go by."""


class EndingError(RuntimeError):
    """Something that was asked for while the service ends."""


class OurError(RuntimeError):
    """Something that broke here, without the user's doing."""


_MEND = "Fix what the message names, and send it again."
REFUSALS: tuple[tuple[type[Exception], int, str], ...] = (
    (InputError, 422, _MEND),
    (ScanError, 422, "Fix the file as the message says, and upload it again."),
    (PriceError, 422, "Change the price book, and plan again."),
    (GivenError, 422, _MEND),
    (MarkError, 422, "Move the mark as the message says."),
    (UnknownSpeciesError, 422, "Take a name of the list at /api/species."),
    (LengthError, 422, _MEND),
    (NoPlanError, 409, "Change what the message names of the log, the mill or the prices, and plan again."),
    (NotFoundError, 404, "Look it up in the list; it may have been removed."),
    (NotReadyError, 409, "Wait for the job that the log names, or see why it failed."),
    (ConflictError, 409, "Use what is there already, or change it."),
    (JobStateError, 409, "Look at the job's state; start another job if you need one."),
    (TooLargeError, 413, "Thin the scan, or export it in a binary format, and upload it again."),
    (TooManyError, 429, "Wait as long as Retry-After says, and try again."),
    (NotSignedInError, 401, "Sign in with the passphrase at /api/session, and try again."),
    (ForeignSiteError, 403, "Use the service's own pages, or a program that sends no Origin header."),
    (WrongHostError, 421, "Call the service by its address, or add the name to PITHLINE_ALLOWED_HOSTS."),
    (DiskFullError, 507, "Remove logs that are no longer needed, or give the data folder a larger disk."),
    (EndingError, 503, "Try again in a moment, when the service has started again."),
    (OurError, 500, "Try again; if it happens again, tell whoever runs the service, with the time."),
)
STATUS_ADVICE = {
    400: "Check how the request is written.",
    404: "Check the address; /api/openapi.json lists all there are.",
    405: "Check the method; /api/openapi.json lists those that each address takes.",
    413: "Send less at once.",
    415: "Send it as the message says.",
    422: _MEND,
}


def error_shown(error: Exception) -> ErrorShown | None:
    """Return an error as it is shown; None for one that is ours."""
    found = next((row for row in REFUSALS if isinstance(error, row[0])), None)
    if found is None:
        return None
    field = error.field if isinstance(error, Refusal) else ""
    return ErrorShown(status=found[1], message=" ".join(str(error).split()), field=field or None, what_to_do=found[2])


def ours() -> ErrorShown:
    """Return what is shown of an error that is not the user's."""
    return ErrorShown(
        status=500,
        message="something broke here, not by your doing",
        what_to_do=next(advice for kind, _, advice in REFUSALS if kind is OurError),
    )
