"""What was given as options, a query or a form, as a document: checked once, by the document itself."""

from typing import Any, TypeVar

from pydantic import ValidationError

from optimizer.documents.typed import Typed, one_line
from service.typed.errors import InputError

Given = TypeVar("Given", bound=Typed)

_OPTIONS = {"roll_deg": "roll"}
"""Fields whose option leaves their unit out."""


def read_given(kind: type[Given], **given: Any) -> Given:
    """Return what was given as a document. None : left to the document.

    Raises InputError that names the option, or whatever else the document's own checks raise.
    """
    try:
        return kind.model_validate({name: value for name, value in given.items() if value is not None})
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        if isinstance(cause := first.get("ctx", {}).get("error"), ValueError):
            raise cause from None
        field = str(first["loc"][0]) if first["loc"] else ""
        option = f"--{_OPTIONS.get(field, field).replace('_', '-')}" if field else ""
        raise InputError(f"{option}{one_line(error).removeprefix(field)}") from None
