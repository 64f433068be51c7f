"""From templates to responses, and what every page knows: the units, the words, and how errors look."""

from collections.abc import Callable, Coroutine
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlsplit

from fastapi import Depends, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from fastapi.routing import APIRoute
from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from scans.messages import Note, writable
from service.contract.documents import ErrorShown
from service.contract.refusals import error_shown
from service.pages.boxes import OF_A_FILE, OF_A_SCAN, OF_A_WAY, PAGE
from service.pages.static_files import address_of, is_known
from service.pages.words import WORDS
from service.typed.errors import InputError
from service.words.layout import unbroken
from service.words.measures import measures_in
from service.words.messages import fields_named, said
from service.words.quantities import in_units
from service.words.units import Units
from service.words.wood_names import wood_said

UNITS_COOKIE = "units"
_FOLDER = Path(__file__).parent / "templates"


@pass_context
def _finalized(context: Context, value: Any) -> Any:
    """Write whatever a page says for its reader: quantities, fields; markup holds them already written."""
    text = value.text if isinstance(value, Note) else value
    return fields_named(in_units(text, context["units"]), PAGE) if type(text) is str and "{" in text else text


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_FOLDER), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, finalize=_finalized,
    )  # fmt: skip
    environment.filters["unbroken"] = unbroken
    environment.filters["wood"] = wood_said
    environment.globals |= {"WORDS": WORDS, "OF_A_FILE": OF_A_FILE, "OF_A_WAY": OF_A_WAY, "OF_A_SCAN": OF_A_SCAN}
    environment.globals |= {"static": address_of, "is_known": is_known}
    return environment


def units_of(request: Request) -> Units:
    """Return the units that somebody reads in, from a cookie."""
    return Units.METRIC if request.cookies.get(UNITS_COOKIE) == Units.METRIC else Units.IMPERIAL


OwnUnits = Annotated[Units, Depends(units_of)]


async def typed_in(request: Request) -> dict[str, str]:
    """Return the fields of a form as typed; files are passed over. Raises InputError for one that is no text."""
    try:
        form: FormData = await request.form(max_files=0, max_fields=2000)
    except (ValueError, LookupError):  # a character set that is none, or another than that of what was sent
        raise InputError("the form cannot be read; send it again as UTF-8") from None
    return {writable(name): writable(value) for name, value in form.items() if not isinstance(value, UploadFile)}


TypedIn = Annotated[dict[str, str], Depends(typed_in)]


def render(request: Request, template: str, status: int = 200, **known: Any) -> HTMLResponse:
    """Return a page."""
    units = units_of(request)
    sessions = request.app.state.sessions
    may_sign_out = sessions.are_needed and not request.url.path.startswith("/sign-in")
    whole = {
        "may_sign_out": may_sign_out,
        "units": units,
        "is_metric": units is Units.METRIC,
        "path": request.url.path,
        **known,
    }
    if "m" not in whole:
        whole["m"] = measures_in(units)
    return HTMLResponse(_environment().get_template(template).render(whole), status)


def errors_answer(errors: dict[str, str], units: Units) -> JSONResponse:
    """Return what is wrong with a form as it stands, for the script that asks while one types."""
    return JSONResponse({"errors": {name: said(message, units, PAGE) for name, message in errors.items()}})


def see(path: str) -> RedirectResponse:
    """Send the browser on to a page after a form."""
    return RedirectResponse(path, 303)


def own_path(address: str | None, otherwise: str = "/") -> str:
    """Return a path of these pages that an address names; never one of another site."""
    try:
        parts = urlsplit(address or "")
    except ValueError:
        return otherwise
    is_own = not parts.scheme and not parts.netloc and parts.path.startswith("/") and "\\" not in parts.path
    return f"{parts.path}?{parts.query}".rstrip("?") if is_own and not parts.path.startswith("//") else otherwise


def error_page(request: Request, shown: ErrorShown) -> Response:
    """Return an error as a page."""
    return render(request, "problem.html", shown.status, error=_for_people(shown, units_of(request)))


class PageRoute(APIRoute):
    """A route whose errors are pages too: what is wrong, and what to do."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Wrap the route."""
        inner = super().get_route_handler()

        async def handled(request: Request) -> Response:
            try:
                return await inner(request)
            except HTTPException as error:
                if error.status_code < 400:
                    raise
                shown = ErrorShown(
                    status=error.status_code, message=str(error.detail), what_to_do="Go back to your yard."
                )
            except RequestValidationError:
                shown = ErrorShown(
                    status=404,
                    message="there is no such page",
                    what_to_do="Go back to your yard, and look there.",
                )
            except Exception as error:
                known = error_shown(error)
                if known is None:
                    raise
                shown = known
            return error_page(request, shown)

        return handled


_ADVICE = {
    405: "Go back to your yard and go on from there.",
    500: "Try again. If it happens again, tell the person who runs Pithline here, and the time it happened.",
    404: "It may have been deleted. Go back to your yard and look for it there.",
    409: "Wait until the log is read, then try again.",
    429: "Too much is waiting right now. Try again in a minute.",
}


def _for_people(shown: ErrorShown, units: Units) -> ErrorShown:
    """Return an error without words that are for programs, in the reader's units."""
    message = said(shown.message, units, PAGE)
    return shown.model_copy(update={"message": message, "what_to_do": _ADVICE.get(shown.status, shown.what_to_do)})
