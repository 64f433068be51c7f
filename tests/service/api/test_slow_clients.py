"""Clients that keep us waiting: let go where they stall, waited for where they go on, however slowly."""

import json
import socket
import threading
import time

import pytest
from served import serving
from small_log import STRAIGHT

from service.settings import Settings
from service.web import slow_clients

STALL_SECONDS = 0.6
AT_MOST_SECONDS = 20.0


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    monkeypatch.setattr(slow_clients, "HEADER_SECONDS", STALL_SECONDS)
    monkeypatch.setattr(slow_clients, "STALL_SECONDS", STALL_SECONDS)
    monkeypatch.setattr(slow_clients, "LOOK_SECONDS", 0.05)


@pytest.fixture(scope="module")
def service(own_files, tmp_path_factory):  # noqa: ARG001
    with serving(Settings(data_folder=tmp_path_factory.mktemp("slow"), slots=0, free_bytes=0)) as client:
        yield client


@pytest.fixture
def line(service):
    """A connection that one types on by hand."""
    with socket.create_connection((service.base_url.host, service.base_url.port), timeout=AT_MOST_SECONDS) as line:
        yield line


def answered(line):
    """Return all that comes until the other side closes."""
    found = b""
    try:
        while piece := line.recv(65536):
            found += piece
    except ConnectionResetError:
        return found
    return found


def dripped(line):
    """Send a byte now and then until the other side closes; return what it said."""
    is_over = threading.Event()

    def drip():
        while not is_over.wait(0.1):
            try:
                line.sendall(b"x")
            except OSError:
                return

    thread = threading.Thread(target=drip)
    thread.start()
    said = answered(line)
    is_over.set()
    thread.join()
    return said


def refused(said):
    head, _, body = said.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 408 ")
    error = json.loads(body)["error"]
    assert error["what_to_do"]
    return error["message"]


def test_a_client_that_says_nothing_is_let_go(line):
    assert answered(line) == b""


def test_a_header_that_drips_in_is_refused(line):
    line.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\nX-Slow: ")

    assert refused(dripped(line)) == "the request's header did not come within 0.6 s"


@pytest.mark.parametrize("path", [b"/api/logs", b"/api/mills"])
def test_a_body_that_drips_in_is_refused(line, path, caplog):
    line.sendall(
        b"POST " + path + b"?file_name=a.ply HTTP/1.1\r\nHost: localhost\r\nContent-Length: 900000\r\n"
        b"Content-Type: application/octet-stream\r\n\r\nply"
    )

    assert refused(dripped(line)) == "the body stalled: less than 1,000 bytes came within 0.6 s"
    assert "Traceback" not in caplog.text


def test_a_half_sent_second_request_is_refused_and_the_first_is_answered(line):
    line.sendall(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\nGET /healthz HTT")
    said = answered(line)

    assert said.startswith(b"HTTP/1.1 200 ")
    assert b"HTTP/1.1 408 " in said


def test_an_upload_that_goes_on_takes_as_long_as_it_takes(line, service):
    body = STRAIGHT.encode() + b"\n" + b"# of a weak signal\n" * 1000
    line.sendall(
        b"POST /api/logs?file_name=log.toml HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
        b"Content-Type: application/octet-stream\r\nContent-Length: " + str(len(body)).encode() + b"\r\n\r\n"
    )
    begun = time.monotonic()
    pieces = [body[at : at + 1500] for at in range(0, len(body), 1500)]
    for piece in pieces:
        line.sendall(piece)
        time.sleep(0.2)  # a signal that lets so much through
    taken = time.monotonic() - begun

    assert taken > 3 * STALL_SECONDS
    assert answered(line).startswith(b"HTTP/1.1 202 ")
    assert service.get("/healthz").is_success


def test_an_open_stream_is_not_held_to_stall(service):
    job_id = service.post("/api/logs/sample").json()["job"]["id"]
    begun = time.monotonic()
    with service.stream("GET", f"/api/jobs/{job_id}/events") as answer:
        lines = answer.iter_lines()
        assert next(lines) == "retry: 2000"
        while time.monotonic() - begun < 3 * STALL_SECONDS:
            service.get("/healthz")
            time.sleep(0.1)
        service.post(f"/api/jobs/{job_id}/cancel")

        assert any('"cancelled"' in line for line in lines)


def test_a_client_that_takes_nothing_of_its_answer_is_let_go(line, service):
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    asked = b"GET /api/openapi.json HTTP/1.1\r\nHost: localhost\r\n\r\n"
    line.settimeout(0.2)
    until = time.monotonic() + AT_MOST_SECONDS

    def is_open():
        try:
            line.sendall(asked * 20)
        except TimeoutError:
            return True
        except OSError:
            return False
        return True

    while is_open():
        assert time.monotonic() < until, "it is held still"
    assert service.get("/healthz").is_success
