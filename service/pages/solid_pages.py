"""The solids that pages draw: a log, and what a plan makes of it. Each is sent once, as its hash comes with it."""

from collections.abc import Callable
from hashlib import sha256
from threading import Lock

from cachetools import LRUCache, cached
from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.drawings.solid_buffer import plan_buffer, solid_buffer
from service.pages.plan_view import way_of
from service.pages.rendering import PageRoute
from service.web.api_parts import LogId, OwnDesk, PlanId

router = APIRouter(route_class=PageRoute)
_MOST_BYTES = 40_000_000
"""Some tens of solids as they are sent (our own rule, no source)."""


@cached(LRUCache[str, bytes](_MOST_BYTES, getsizeof=len), key=lambda mark, _made: mark, lock=Lock())
def _kept(mark: str, made: Callable[[], bytes]) -> bytes:
    del mark
    return made()


def _sent(request: Request, shows: str, made: Callable[[], bytes]) -> Response:
    mark = sha256(shows.encode()).hexdigest()[:24]
    headers = {"ETag": f'"{mark}"', "Cache-Control": "private, no-cache"}
    if request.headers.get("if-none-match", "").removeprefix("W/") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    return Response(_kept(mark, made), media_type="application/octet-stream", headers=headers)


@router.get("/logs/{log_id}/solid.bin")
def log_solid(request: Request, desk: OwnDesk, log_id: LogId) -> Response:
    """Return a log's surface with its hearts and marks."""
    marks = tuple(mark for _, mark in desk.store.marks(log_id))
    shows = f"log {desk.store.log_read_key(log_id)} {[mark.model_dump_json() for mark in marks]}"
    return _sent(request, shows, lambda: solid_buffer(desk.read_of(log_id).log, marks))


@router.get("/plans/{plan_id}/{which}/slabs.bin")
def slab_solids(request: Request, desk: OwnDesk, plan_id: PlanId, which: str) -> Response:
    """Return what one way of a plan makes of its log."""
    log_id = desk.store.job(plan_id).log_id
    document = desk.plan_document(plan_id)
    plan = way_of(document, which).plan
    shows = f"slabs {desk.store.log_read_key(log_id)} {plan_id} {which}"
    return _sent(request, shows, lambda: plan_buffer(desk.read_of(log_id).log, plan, document.mill.kerf_m))
