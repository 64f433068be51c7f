"""What all routes share: the desk, ids in paths, and the errors that they document."""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import Depends, Path, Query, Request, Response

from service.contract.documents import ErrorAnswer
from service.desk import Desk


def desk_of(request: Request) -> Desk:
    """Return the desk of the application that a request came to."""
    desk: Desk = request.app.state.desk
    return desk


OwnDesk = Annotated[Desk, Depends(desk_of)]


def _id(what: str) -> Any:
    return Path(pattern="^[0-9a-f]{32}$", description=f"The {what}'s id.", examples=["0" * 32])


LogId = Annotated[str, _id("log")]
ScanId = Annotated[str, _id("scan")]
MarkId = Annotated[str, _id("mark")]
MillId = Annotated[str, _id("mill")]
PricesId = Annotated[str, _id("price book")]
JobId = Annotated[str, _id("job")]
PlanId = Annotated[str, _id("plan")]
WayKey = Annotated[
    str, Path(pattern="^[a-z0-9]{1,10}$", description="A way of the plan: its rank, level or plain.", examples=["1"])
]
Step = Annotated[
    str,
    Path(
        pattern="^[a-z0-9-]{1,16}$",
        description="A step of the way: pass-3, roll, shim-1, buck-1, sweep, sweep-3, face, stop.",
        examples=["pass-1"],
    ),
]

NOT_MODIFIED: dict[int | str, dict[str, Any]] = {304: {"description": "It is what If-None-Match names."}}


def tagged(request: Request, tag: str, make: Callable[[], Response]) -> Response:
    """Answer with what never changes under its tag: nothing, where the asker has it already."""
    quoted = f'"{tag}"'
    asked = {name.strip().removeprefix("W/") for name in request.headers.get("if-none-match", "").split(",")}
    response = Response(status_code=304) if quoted in asked else make()
    response.headers["ETag"] = quoted
    return response


Limit = Annotated[int, Query(ge=1, le=1000, description="So many at most.", examples=[20])]
Offset = Annotated[int, Query(ge=0, le=2**31, description="So many are passed over first.", examples=[20])]

_MEANINGS = {
    400: "The request cannot be read.",
    401: "Nobody is signed in.",
    403: "Another site's page made the request.",
    404: "It is not here.",
    409: "It cannot be done now.",
    413: "It is too large.",
    421: "The service does not go by that name.",
    422: "Something in it is wrong.",
    429: "Too many at once.",
    507: "The disk is full.",
}


def errors(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Return the errors that a route documents, beside those that every route may give."""
    return {
        status: {"model": ErrorAnswer, "description": _MEANINGS[status]}
        for status in (400, 401, 403, 413, 421, *statuses)
    }
