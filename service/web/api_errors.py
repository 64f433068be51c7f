"""Every error of the service in one shape, whether a route, the framework or nobody expected it."""

import logging
from collections.abc import Iterator
from http import HTTPStatus

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.routing import BaseRoute, Match

from optimizer.documents.typed import refusal_of
from service.contract.documents import ErrorAnswer, ErrorShown
from service.contract.refusals import REFUSALS, STATUS_ADVICE, TooManyError, error_shown, ours

_LOGGER = logging.getLogger(__name__)
_NOT_FIELDS = {"body", "query", "path", "taped", "placed"}


def answer(shown: ErrorShown, headers: dict[str, str] | None = None) -> JSONResponse:
    """Return an error as a response."""
    content = ErrorAnswer(error=shown).model_dump(mode="json", exclude_none=True)
    return JSONResponse(content, shown.status, headers)


def add_error_handlers(app: FastAPI) -> None:
    """Shape all errors of an application alike."""
    for kind, _, _ in REFUSALS:
        app.add_exception_handler(kind, _refused)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(Exception, _unexpected)


async def _refused(_request: Request, error: Exception) -> JSONResponse:
    headers = {"Retry-After": str(error.retry_seconds)} if isinstance(error, TooManyError) else None
    return answer(error_shown(error) or ours(), headers)


async def _invalid(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)  # noqa: S101 - it is registered for these
    found = error.errors()[0]
    wrong = refusal_of(found, _NOT_FIELDS)
    message = "the body is no JSON" if found["type"] == "json_invalid" else str(wrong)
    field = None if found["type"] == "json_invalid" else wrong.field or None
    return answer(ErrorShown(status=422, message=message, field=field, what_to_do=STATUS_ADVICE[422]))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101 - it is registered for these
    is_nowhere = error.status_code == HTTPStatus.NOT_FOUND
    said = "there is no such page" if is_nowhere else str(error.detail)
    advice = STATUS_ADVICE.get(error.status_code, STATUS_ADVICE[400])
    shown = ErrorShown(status=error.status_code, message=said, what_to_do=advice)
    headers = dict(error.headers or {})
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        headers["Allow"] = ", ".join(sorted(_methods(request)))
    return _page(request, shown, headers) or answer(shown, headers)


def _page(request: Request, shown: ErrorShown, headers: dict[str, str]) -> Response | None:
    """Return an error as a page, where somebody looks for one and there are pages."""
    make = getattr(request.app.state, "error_page", None)
    if make is None or request.url.path.startswith("/api/") or "text/html" not in request.headers.get("accept", ""):
        return None
    page: Response = make(request, shown)
    page.headers.update(headers)
    return page


def _methods(request: Request) -> set[str]:
    """Return all methods that an address takes; the framework names those of one route alone."""
    found: set[str] = set()
    for route in (route for router in request.app.state.routers for route in routes_of(router)):
        if route.matches(request.scope)[0] is not Match.NONE:
            found |= getattr(route, "methods", None) or set()
    return found


def routes_of(router: APIRouter) -> Iterator[BaseRoute]:
    """Return every route of a router, those of the routers that it holds among them."""
    for route in router.routes:
        inner = getattr(route, "original_router", None)
        if inner is None:
            yield route
        else:
            yield from routes_of(inner)


async def _unexpected(request: Request, error: Exception) -> Response:
    _LOGGER.error("a request broke", exc_info=error)
    return _page(request, ours(), {}) or answer(ours())
