"""What was given as options, a query or a form, as a document: checked once, by the document itself."""

from typing import Any, TypeVar

from pydantic import ValidationError

from optimizer.documents.typed import Typed, place_of, refusal_in, told_of
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
        raise InputError(told_of(named(field) if field else "", first), field=field) from None
