"""What was given as options, a query or a form, as a document: checked once, by the document itself."""

from typing import Any, TypeVar

from pydantic import ValidationError

from optimizer.documents.typed import Typed, place_of, refusal_in, value_of, what_is_wrong
from scans.messages import named
from service.typed.errors import InputError

Given = TypeVar("Given", bound=Typed)


def read_given(kind: type[Given], **given: Any) -> Given:
    """Return what was given as a document. None : left to the document.

    Raises InputError that names the field, or whatever else the document's own checks raise.
    """
    try:
        return kind.model_validate({name: value for name, value in given.items() if value is not None})
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        if (own := refusal_in(first)) is not None:
            raise own from None
        field = place_of(first)
        where = f"{named(field)}: " if field else ""
        raise InputError(f"{where}{what_is_wrong(first)}{value_of(first)}", field=field) from None
