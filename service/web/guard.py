"""What a request must be before any route sees it: to a host that we are, from our own pages, of somebody signed in.

- Host: an address, localhost, or a name of the settings. A page of another site that has its own name point to this
  machine (DNS rebinding) comes with that name.
- Origin: a browser says which site's page makes a request that changes something. One of another site is refused,
  whatever cookie it brings; programs that are no browsers say nothing. So no form needs a token.
- Session: where there is a passphrase, everything but the way to sign in needs one.
"""

from ipaddress import ip_address
from urllib.parse import SplitResult, quote, urlsplit

from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Receive, Scope, Send

from service.contract.refusals import ForeignSiteError, NotSignedInError, WrongHostError, error_shown, ours
from service.settings import Settings
from service.web.api_errors import answer

SIGN_IN_PAGE = "/sign-in"
OPEN_PATHS = ("/api/session", "/healthz", SIGN_IN_PAGE)
OPEN_FOLDERS = ("/static/",)
"""What one may ask for before one is signed in."""
_HARMLESS = {"GET", "HEAD", "OPTIONS"}
_OWN = {"same-origin", "none"}


class Guard:
    """Refuses what is not as above; ASGI."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self._app, self._settings = app, settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = HTTPConnection(scope)
        try:
            check_host(request.headers.get("host", ""), self._settings)
            check_site(scope["method"], request)
            await self._check_session(request)
        except (WrongHostError, ForeignSiteError) as error:
            await answer(error_shown(error) or ours())(scope, receive, send)
        except NotSignedInError as error:
            if _is_page(scope["method"], request):
                there = RedirectResponse(f"{SIGN_IN_PAGE}?next={quote(request.scope['path'])}", 303)
                await there(scope, receive, send)
                return
            await answer(error_shown(error) or ours())(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _check_session(self, request: HTTPConnection) -> None:
        sessions = request.app.state.sessions
        path = request.scope["path"]
        if not sessions.are_needed or path in OPEN_PATHS or path.startswith(OPEN_FOLDERS):
            return
        token = request.cookies.get(sessions.cookie)
        if not await run_in_threadpool(sessions.is_signed_in, token):
            raise NotSignedInError("nobody is signed in")


def check_host(host: str, settings: Settings) -> None:
    """Refuse a name that the service does not go by. Raises WrongHostError."""
    parts = _parts_of(f"//{host}")
    # A host that goes on like an address, such as localhost/static/?, would be read as the path of the request.
    name = (parts.hostname or "") if parts is not None and parts.netloc == host and "@" not in host else ""
    if name == "localhost" or name in {known.lower() for known in settings.allowed_hosts}:
        return
    try:
        ip_address(name)
    except ValueError:
        raise WrongHostError(f"the service does not go by the name {name[:100] or '(none)'}") from None


def check_site(method: str, request: HTTPConnection) -> None:
    """Refuse what a page of another site sends. Raises ForeignSiteError."""
    if method in _HARMLESS:
        return
    origin = request.headers.get("origin")
    site = request.headers.get("sec-fetch-site")
    own = request.headers.get("host", "")
    if (site is not None and site not in _OWN) or (origin is not None and not _is_same(origin, own)):
        raise ForeignSiteError(f"a page of {(origin or 'another site')[:100]} may not change anything here")


def _is_same(origin: str, host: str) -> bool:
    # The scheme may differ behind a proxy that speaks https.
    parts = _parts_of(origin.lower())
    return parts is not None and parts.netloc == host.lower() != ""


def _parts_of(address: str) -> SplitResult | None:
    """Return the parts of an address; None of what is no address."""
    try:
        return urlsplit(address)
    except ValueError:
        return None


def _is_page(method: str, request: HTTPConnection) -> bool:
    wants_page = "text/html" in request.headers.get("accept", "")
    return method == "GET" and wants_page and not request.scope["path"].startswith("/api/")
