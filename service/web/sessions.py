"""Who is signed in. The cookie holds a random token; the database holds only its hash."""

import hashlib
import secrets
import time

from anyio import CapacityLimiter, to_thread
from fastapi import Response
from sqlalchemy import delete

from service.contract.refusals import ConflictError, NotSignedInError
from service.settings import Settings
from service.store.database import Database
from service.store.passphrase import is_right
from service.store.records import SessionRow
from service.web.tries import Tries

_TOKEN_BYTES = 32
"""256 bits, enough for any guessing, as the documentation of Python's `secrets` has it."""


class Sessions:
    """The sessions of the one passphrase.

    passphrase_hash : None where nobody need sign in.
    """

    def __init__(self, database: Database, settings: Settings, passphrase_hash: str | None) -> None:
        self._database, self._settings, self._hash = database, settings, passphrase_hash
        self._tries = Tries(settings.tries, 60.0 * settings.tries_minutes)
        # Hashing takes much memory and time on purpose: one at a time, in a thread that nobody else needs.
        self._one_at_a_time = CapacityLimiter(1)
        # A session is worth nothing once the passphrase is another.
        self._of = hashlib.sha256((passphrase_hash or "").encode()).hexdigest()

    @property
    def are_needed(self) -> bool:
        """Whether one must sign in."""
        return self._hash is not None

    @property
    def cookie(self) -> str:
        """The cookie's name; over https one that no other host can set."""
        return "__Host-pithline" if self._settings.is_https else "pithline"

    async def sign_in(self, passphrase: str, address: str) -> str:
        """Return the token of a new session, in its turn. Raises NotSignedInError, TooManyError, ConflictError."""
        if self._hash is None:
            raise ConflictError("the service has no passphrase, so that nobody need sign in")
        self._tries.begin(address)
        if not await to_thread.run_sync(is_right, passphrase, self._hash, limiter=self._one_at_a_time):
            raise NotSignedInError("the passphrase is not right")
        self._tries.was_right(address)
        return await to_thread.run_sync(self._begin)

    def _begin(self) -> str:
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        now_s = time.time()
        with self._database.writing() as session:
            session.execute(delete(SessionRow).where(SessionRow.expires_at < now_s))
            session.add(SessionRow(id=_digest(token), passphrase=self._of, expires_at=now_s + self._lasts_s))
        return token

    @property
    def _lasts_s(self) -> float:
        return 3600.0 * self._settings.session_hours

    def is_signed_in(self, token: str | None) -> bool:
        """Whether a token is that of a session that lasts."""
        if token is None:
            return False
        with self._database.reading() as session:
            row = session.get(SessionRow, _digest(token))
            return row is not None and row.passphrase == self._of and row.expires_at > time.time()

    def sign_out(self, token: str | None) -> None:
        """End a session."""
        if token is not None:
            with self._database.writing() as session:
                session.execute(delete(SessionRow).where(SessionRow.id == _digest(token)))

    def set_cookie(self, response: Response, token: str) -> None:
        """Hand a token to the browser: not for scripts, and not for requests that other sites make."""
        response.set_cookie(
            self.cookie,
            token,
            max_age=int(self._lasts_s),
            httponly=True,
            samesite="strict",
            secure=self._settings.is_https,
        )

    def forget_cookie(self, response: Response) -> None:
        """Take it back."""
        response.delete_cookie(self.cookie, httponly=True, samesite="strict", secure=self._settings.is_https)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
