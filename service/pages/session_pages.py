"""Signing in and out, where the service has a passphrase."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.contract.refusals import NotSignedInError, TooManyError
from service.pages.rendering import PageRoute, TypedIn, own_path, render, see

router = APIRouter(route_class=PageRoute)


@router.get("/sign-in")
def sign_in_page(request: Request) -> Response:
    """Ask for the passphrase."""
    return render(request, "sign_in.html", back=own_path(request.query_params.get("next")), error="")


@router.post("/sign-in")
async def sign_in(request: Request, typed: TypedIn) -> Response:
    """Sign in, and go on to the page that was asked for."""
    sessions = request.app.state.sessions
    back = own_path(typed.get("next"))
    address = request.client.host if request.client is not None else ""
    try:
        token = await sessions.sign_in(typed.get("passphrase", "")[:1000], address)
    except (NotSignedInError, TooManyError, ValueError) as error:
        status = 429 if isinstance(error, TooManyError) else 401
        return render(request, "sign_in.html", status, back=back, error=str(error))
    there = see(back)
    sessions.set_cookie(there, token)
    return there


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    """Sign out."""
    sessions = request.app.state.sessions
    sessions.sign_out(request.cookies.get(sessions.cookie))
    there = see("/sign-in")
    sessions.forget_cookie(there)
    return there


@router.get("/sign-out")
def back_to_yard() -> Response:
    """Lead on whoever loads the address of the form again."""
    return see("/")
