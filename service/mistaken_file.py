"""A file that somebody wrote, given where another is wanted: what it is, and where it goes."""

from optimizer.typed import Typed
from service.errors import InputError

_TELLING = (
    ("a mill", "with --mill", {"throat", "throat_m", "kerf", "kerf_m"}),
    ("a price book", "with --prices", {"per_board_foot"}),
    ("a log sheet", "as LOG", {"section"}),
    ("a file of marks", "with --marks", {"mark"}),
)
"""What each kind is called, where it goes, and the fields that tell it; the first that has one of them is it."""
_WANTED = {
    "Mill": "a mill",
    "PriceBook": "a price book",
    "LogSheetTyped": "a log sheet",
    "MarksTyped": "a file of marks",
}


def mistaken(name: str, fields: set[str], model: type[Typed]) -> InputError | None:
    """Return the error of a file that is of another kind than the one wanted; None where it is not.

    name : the file's. fields : at its top. model : of the document that was wanted.
    """
    kind, place = next(((kind, place) for kind, place, telling in _TELLING if fields & telling), ("", ""))
    wanted = _WANTED.get(model.__name__, "")
    if not kind or not wanted or kind == wanted:
        return None
    what = "a log sheet or a scan" if wanted == "a log sheet" else wanted
    return InputError(f"{name} is {kind}, where {what} is wanted; give it {place}")
