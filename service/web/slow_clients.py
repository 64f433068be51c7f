"""How long a connection may keep us waiting, which the server that we build on bounds only between two requests.

What counts is progress, not the whole time, so that an upload over a weak signal takes as long as it takes. A client
that sends nearly nothing, or takes nothing of its answer, is let go: else a few hundred of them hold every connection.
"""

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from service.contract.documents import ErrorShown
from service.web.api_errors import answer

HEADER_SECONDS = 60.0
"""A request must have said within this time what it asks for."""
STALL_SECONDS = 60.0
LEAST_BYTES = 1_000
"""So much of a body must come within each such time; of an answer, anything must be taken."""
LOOK_SECONDS = 5.0


class PatientProtocol(H11Protocol):
    """A connection that is let go when it stalls."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to watch it."""
        super().connection_made(transport)
        self._received = self._unsent = 0
        self._unsent_since = self.loop.time()
        self._stage: tuple[Any, ...] = ()
        self._watch = self.loop.call_later(LOOK_SECONDS, self._look)
        self._begin_stage()

    def connection_lost(self, exc: Exception | None) -> None:
        """Watch it no more."""
        self._watch.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Count what comes."""
        self._received += len(data)
        super().data_received(data)

    def _look(self) -> None:
        self._watch = self.loop.call_later(LOOK_SECONDS, self._look)
        if self._takes_nothing():
            self.transport.abort()
            return
        if self.transport.is_closing() or self._stage != self._stage_now() or self._waits_for_us():
            self._begin_stage()
            return
        seconds = self.loop.time() - self._since
        if self._is_in_body():
            if seconds >= STALL_SECONDS and self._received - self._received_before < LEAST_BYTES:
                self._let_go(f"the body stalled: less than {LEAST_BYTES:,} bytes came within {STALL_SECONDS:g} s")
            elif seconds >= STALL_SECONDS:
                self._begin_stage()
        elif seconds >= HEADER_SECONDS:
            self._let_go(f"the request's header did not come within {HEADER_SECONDS:g} s")

    def _begin_stage(self) -> None:
        self._stage = self._stage_now()
        self._since, self._received_before = self.loop.time(), self._received

    def _stage_now(self) -> tuple[Any, ...]:
        """Return what we wait for: another request is another cycle."""
        return self.cycle, self._is_in_body()

    def _is_in_body(self) -> bool:
        return self.conn.their_state is h11.SEND_BODY

    def _waits_for_us(self) -> bool:
        """Whether it is our turn: to read on, to ask for the body, or to answer."""
        is_answering = self.cycle is not None and not self.cycle.response_complete
        asks_first = is_answering and self.cycle.waiting_for_100_continue
        return self.flow.read_paused or asks_first or (is_answering and not self._is_in_body())

    def _takes_nothing(self) -> bool:
        unsent, now = self.transport.get_write_buffer_size(), self.loop.time()
        if unsent == 0 or unsent < self._unsent:
            self._unsent_since = now
        self._unsent = unsent
        return now - self._unsent_since >= STALL_SECONDS

    def _let_go(self, why: str) -> None:
        """Close it, and say why where something was asked that is not answered yet."""
        if self._received and self.conn.our_state in {h11.IDLE, h11.SEND_RESPONSE}:
            said = answer(ErrorShown(status=408, message=why, what_to_do="Try again where the signal is better."))
            headers = [*said.raw_headers, (b"connection", b"close")]
            for event in (
                h11.Response(status_code=said.status_code, headers=headers, reason=b"Request Timeout"),
                h11.Data(data=bytes(said.body)),
                h11.EndOfMessage(),
            ):
                self.transport.write(self.conn.send(event) or b"")
        if self.cycle is not None:
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        self.transport.close()
