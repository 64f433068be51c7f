"""A file that somebody wrote, given where another is wanted: what it is, and where it goes."""

from dataclasses import dataclass

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from optimizer.documents.typed import Typed
from scans.messages import named
from service.typed.errors import InputError
from service.typed.log_sheet import LogSheetTyped
from service.typed.mark_sheet import MarksTyped


@dataclass(frozen=True)
class _Kind:
    """A kind of file that people write.

    model : of its document. name : what it is called. place : where it goes. telling : the fields that tell it.
    wanted : what to call it where another was given.
    """

    model: type[Typed]
    name: str
    place: str
    telling: frozenset[str]
    wanted: str = ""


_KINDS = (
    _Kind(Mill, "a mill", f"with {named('mill')}", frozenset({"throat", "throat_m", "kerf", "kerf_m"})),
    _Kind(PriceBook, "a price book", f"with {named('prices')}", frozenset({"per_board_foot"})),
    _Kind(LogSheetTyped, "a log sheet", f"as {named('log')}", frozenset({"section"}), "a log sheet or a scan"),
    _Kind(MarksTyped, "a file of marks", f"with {named('marks')}", frozenset({"mark"})),
)
"""The first that has one of its telling fields is it."""


def mistaken(name: str, fields: set[str], model: type[Typed]) -> InputError | None:
    """Return the error of a file that is of another kind than the one wanted; None where it is not.

    name : the file's. fields : at its top. model : of the document that was wanted.
    """
    given = next((kind for kind in _KINDS if fields & kind.telling), None)
    wanted = next((kind for kind in _KINDS if kind.model is model), None)
    if given is None or wanted is None or given is wanted:
        return None
    return InputError(
        f"{name} is {given.name}, where {wanted.wanted or wanted.name} is wanted", f"give it {given.place}"
    )
