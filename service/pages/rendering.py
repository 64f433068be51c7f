"""From templates to responses, and what every page knows: the units, the words, and how errors look."""

import re
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

from scans.messages import writable
from service.contract.documents import ErrorShown
from service.contract.refusals import error_shown
from service.pages.static_files import address_of, is_known
from service.pages.words import WORDS
from service.typed.errors import InputError
from service.words.measures import measures_in
from service.words.quantities import in_units
from service.words.units import Units

UNITS_COOKIE = "units"
_FOLDER = Path(__file__).parent / "templates"


@pass_context
def _finalized(context: Context, value: Any) -> Any:
    """Write the quantities of whatever a page says in the reader's units; markup holds them already written."""
    return in_units(value, context["units"]) if type(value) is str and "{" in value else value


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_FOLDER), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, finalize=_finalized,
    )  # fmt: skip
    environment.filters["on_pages"] = on_pages
    environment.filters["unbroken"] = unbroken
    environment.filters["wood"] = wood_said
    environment.globals |= {"WORDS": WORDS, "static": address_of, "is_known": is_known}
    return environment


def wood_said(name: str) -> str:
    """Return a wood's name in the order that people say it in: sugar maple."""
    return " ".join(reversed(name.split(", ")))


_WITHIN_A_MEASURE = re.compile(r"(?<=\d) (?=\d+/\d|(?:in|ft|mm|cm|m|lb|kg|deg)\b)|(?<=\dft) (?=\d)|(?<=\d ft) (?=\d)")


def unbroken(text: str) -> str:
    """Return a text whose measures stay on one line: no unit or fraction stands alone at the start of the next."""
    return _WITHIN_A_MEASURE.sub("\u00a0", text)


_FOR_PAGES = (
    (re.compile(r" ?\(--pick (\d+)\)"), r" (choose log \1 below, to take it)"),
    (re.compile(r" ?\((?:else )?--(?:up|unit|butt)[^)]*\)"), " (else say so below)"),
    (re.compile(r" ?\(pithline [a-z]+\)"), ""),
    (re.compile(r"; give it (?:as LOG|with (?:--)?\w+)"), ""),
    (re.compile(r"--unit \w+ says it"), "say what the file is in"),
    (re.compile(r"--([a-z]+)-?([a-z]*)"), r"\1 \2"),
)
"""Options of the command line, in the words of these pages."""


def on_pages(message: str) -> str:
    """Return a message that the command line shares, without its options."""
    for option, words in _FOR_PAGES:
        message = option.sub(words, message)
    return message


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
    return JSONResponse({"errors": {name: in_units(message, units) for name, message in errors.items()}})


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
    message = _FOR_404 if shown.message == "Not Found" else in_units(_ID.sub("", shown.message), units)
    return shown.model_copy(update={"message": message, "what_to_do": _ADVICE.get(shown.status, shown.what_to_do)})


_FOR_404 = "there is no such page"
_ID = re.compile(r" [0-9a-f]{32}\b")
"""Nobody reads those."""
