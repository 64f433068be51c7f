"""Round every answer: headers that keep browsers careful, and one shape for what nobody expected."""

import logging
from asyncio import CancelledError
from typing import Any

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.contract.refusals import EndingError, error_shown, ours
from service.web.api_errors import answer

_LOGGER = logging.getLogger(__name__)

_MAY_LOAD = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data: blob:",
    "connect-src": "'self'",
    "font-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}
HEADERS = {
    "Content-Security-Policy": "; ".join(f"{what} {whence}" for what, whence in _MAY_LOAD.items()),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",  # for browsers that do not know frame-ancestors
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
_PRIVATE = (b"cache-control", b"private, no-cache")


class Wrapping:
    """Adds the headers, and answers in the usual shape where a route broke; ASGI."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on and its answer back."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        has_begun = False

        async def wrapped(message: Message) -> None:
            nonlocal has_begun
            if message["type"] == "http.response.start":
                has_begun = True
                message["headers"] = _with_headers(message["headers"])
            await send(message)

        try:
            await self._app(scope, receive, wrapped)
        except ClientDisconnect:
            # Nobody is there to be answered, and nothing broke.
            _LOGGER.info("a client left: %s %s", scope["method"], scope["path"])
        except CancelledError:
            # The service is told to end, and its grace is over.
            shown = error_shown(EndingError("the service is ending"))
            if has_begun or shown is None:
                raise
            await answer(shown)(scope, receive, wrapped)
        except Exception:
            if has_begun:
                raise
            _LOGGER.exception("a request broke: %s %s", scope["method"], scope["path"])
            await answer(ours())(scope, receive, wrapped)


def _with_headers(headers: Any) -> list[tuple[bytes, bytes]]:
    given = list(headers)
    names = {name.lower() for name, _ in given}
    more = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]
    if _PRIVATE[0] not in names:
        more.append(_PRIVATE)
    return given + [(name, value) for name, value in more if name not in names]
