"""The files that pages load: style sheets, scripts, the mark of the house. Known by name; nothing else is served."""

from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response

router = APIRouter()
FOLDER = Path(__file__).parent / "static"
_KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
_FOR_A_YEAR = "public, max-age=31536000, immutable"


@lru_cache(maxsize=1)
def _known() -> dict[str, Path]:
    files = (path for path in FOLDER.rglob("*") if path.suffix in _KINDS)
    return {path.relative_to(FOLDER).as_posix(): path for path in files}


@lru_cache(maxsize=100)
def _mark(name: str) -> str:
    return sha256(_known()[name].read_bytes()).hexdigest()[:12]


def address_of(name: str) -> str:
    """Return where a page finds a file; the address changes with what the file holds."""
    return f"/static/{name}?{_mark(name)}" if name in _known() else f"/static/{name}"


def is_known(name: str) -> bool:
    """Tell whether there is such a file."""
    return name in _known()


@router.get("/service_worker.js")
def service_worker(request: Request) -> Response:
    """Return the service worker: at the top, so that it may answer for every page."""
    return static_file(request, "service_worker.js")


@router.get("/static/{name:path}")
def static_file(request: Request, name: str) -> Response:
    """Return a file."""
    path = _known().get(name)
    if path is None:
        raise HTTPException(404, "there is no such file")
    mark = _mark(name)
    headers = {
        "Cache-Control": _FOR_A_YEAR if request.url.query == mark else "no-cache",
        "ETag": f'"{mark}"',
        "X-Content-Type-Options": "nosniff",
    }
    if request.headers.get("if-none-match") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    return Response(path.read_bytes(), media_type=_KINDS[path.suffix], headers=headers)
