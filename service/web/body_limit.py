"""Limits what a request may bring, before anything reads it. Uploads have a limit of their own."""

from fastapi import HTTPException
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.contract.refusals import TooLargeError, error_shown, ours
from service.store.uploads import stated_bytes
from service.web.api_errors import answer

UPLOADS = (("POST", "/api/logs"), ("POST", "/logs"))
"""What limits and streams its body itself: the API's upload, and the pages'."""


class BodyLimit:
    """Refuses a body of more than `most` bytes, by its stated length or as it comes; ASGI."""

    def __init__(self, app: ASGIApp, most: int) -> None:
        self._app, self._most = app, most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on within the limit."""
        if scope["type"] != "http" or (scope["method"], scope["path"]) in UPLOADS:
            await self._app(scope, receive, send)
            return
        stated = stated_bytes(Headers(scope=scope).get("content-length"))
        if stated is not None and stated > self._most:
            shown = error_shown(TooLargeError(self._message())) or ours()
            await answer(shown)(scope, receive, send)
            return
        size = 0

        async def counted() -> Message:
            nonlocal size
            message = await receive()
            size += len(message.get("body", b""))
            if size > self._most:
                # The framework passes this kind on, and takes any other for a body that cannot be parsed.
                raise HTTPException(413, self._message())
            return message

        await self._app(scope, counted, send)

    def _message(self) -> str:
        return f"the request's body is over {self._most:,} bytes, the most that is taken here"
