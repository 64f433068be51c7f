"""Routes to sign in and out, and to see that the service is up."""

from importlib.metadata import version
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from service.store.passphrase import MOST_LETTERS
from service.web.api_parts import OwnDesk, errors
from service.web.sessions import Sessions

router = APIRouter(tags=["session"])


def _sessions_of(request: Request) -> Any:
    return request.app.state.sessions


OwnSessions = Annotated[Sessions, Depends(_sessions_of)]


class SignIn(BaseModel):
    """What one signs in with."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"passphrase": "four words of yours"}]})

    passphrase: str = Field(max_length=MOST_LETTERS, description="The service's passphrase.")


class SessionShown(BaseModel):
    """Whether one is signed in."""

    is_needed: bool = Field(description="Whether the service has a passphrase.")
    signed_in: bool = Field(description="Whether this request came with a session that lasts.")


class Health(BaseModel):
    """That the service is up."""

    status: str = Field(description="ok, or there is no answer.", examples=["ok"])
    version: str = Field(description="Pithline's.")


@router.get("/healthz", responses=errors())
def health(desk: OwnDesk) -> Health:
    """Say that the service is up and its database can be read."""
    desk.store.jobs(limit=1)
    return Health(status="ok", version=version("pithline"))


@router.get("/api/session", responses=errors())
def get_session(request: Request, sessions: OwnSessions) -> SessionShown:
    """Say whether one is signed in."""
    signed_in = sessions.is_signed_in(request.cookies.get(sessions.cookie))
    return SessionShown(is_needed=sessions.are_needed, signed_in=signed_in)


@router.post("/api/session", responses=errors(409, 422, 429))
async def sign_in(request: Request, response: Response, sessions: OwnSessions, given: SignIn) -> SessionShown:
    """Sign in: the session is in a cookie."""
    address = request.client.host if request.client is not None else ""
    sessions.set_cookie(response, await sessions.sign_in(given.passphrase, address))
    return SessionShown(is_needed=True, signed_in=True)


@router.delete("/api/session", status_code=204, responses=errors())
def sign_out(request: Request, response: Response, sessions: OwnSessions) -> None:
    """Sign out."""
    sessions.sign_out(request.cookies.get(sessions.cookie))
    sessions.forget_cookie(response)
