"""`pithline serve` and `pithline passphrase` as typed: what cannot be is one line, and nothing is served."""

import socket
import sys
from io import StringIO
from pathlib import Path

import pytest

from service.store.folder_lock import FolderLock
from service.store.passphrase import is_right
from service.web.serve import _listen

pytestmark = pytest.mark.usefixtures("own_folder")


def test_a_port_that_is_taken(pithline):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        code, out, err = pithline("serve", "--port", str(port), "--data", "data")

    assert (code, out) == (2, "")
    assert err == f"port {port} of 127.0.0.1 cannot be had: Address already in use; name another with --port\n"


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--host", "192.168.1.7"), "needs a passphrase"),
        (("--host", "mill.lan"), "must be an IP address or localhost, got mill.lan"),
        (("--port", "70000"), "port must be at most 65535, got 70000"),
        (("--slots", "-1"), "slots"),
    ],
)  # fmt: skip
def test_settings_that_cannot_be(pithline, options, says):
    code, out, err = pithline("serve", "--data", "data", *options)

    assert (code, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("executor", "says"),
    [
        ("no.such.module:make", "executor must be module:function of something installed, got no.such.module:make"),
        ("builtins:len", "executor builtins:len could not be made"),
        ("builtins:dict", "executor builtins:dict must return a concurrent.futures.Executor, got {}"),
    ],
)
def test_an_executor_that_cannot_be_had(pithline, monkeypatch, executor, says):
    monkeypatch.setenv("PITHLINE_EXECUTOR", executor)
    code, out, err = pithline("serve", "--data", "data", "--port", "0")

    assert (code, out) == (2, "")
    assert says in err
    assert err.endswith("fix PITHLINE_EXECUTOR\n")
    assert err.count("\n") == 1


def test_a_folder_that_another_service_uses(pithline):
    folder = Path("data")
    folder.mkdir()
    lock = FolderLock(folder)
    code, out, err = pithline("serve", "--data", "data", "--port", "0")
    lock.release()

    assert (code, out) == (2, "")
    assert err == "another service uses data; stop it, or give this one a folder of its own (--data)\n"


@pytest.mark.parametrize(
    "url", ["nonsense", "nosuch://here", "sqlite:////nowhere/at/all.db", "postgresql+nosuchdriver://127.0.0.1/x"]
)
def test_a_database_that_cannot_be_had(pithline, monkeypatch, url):
    monkeypatch.setenv("PITHLINE_DATABASE_URL", url)
    code, out, err = pithline("serve", "--data", "data", "--port", "0")

    assert (code, out) == (2, "")
    assert err.startswith("the database cannot be used: ")
    assert err.count("\n") == 1
    FolderLock(Path("data")).release()


def test_a_certificate_goes_with_its_key_and_is_there(pithline, monkeypatch):
    monkeypatch.setenv("PITHLINE_CERTIFICATE_FILE", "nowhere.pem")
    missing = pithline("serve", "--data", "data")
    Path("nowhere.pem").touch()
    alone = pithline("serve", "--data", "data")

    assert (missing[0], alone[0]) == (2, 2)
    assert "certificate_file" in missing[2]
    assert "certificate_file and key_file go together" in alone[2]


def test_what_stands_in_the_environment_counts_and_is_checked(pithline, monkeypatch):
    monkeypatch.setenv("PITHLINE_SLOTS", "many")

    code, _, err = pithline("serve", "--data", "data")

    assert code == 2
    assert "slots" in err


def test_all_settings_are_listed_with_what_they_are_for(pithline):
    code, out, _ = pithline("serve", "--settings")

    lines = out.splitlines()[1:]
    assert code == 0
    assert len(lines) >= 2 * 20
    assert all(line.startswith("PITHLINE_") for line in lines[::2])
    assert all(line.startswith("    ") and line.endswith(".") for line in lines[1::2])
    assert "PITHLINE_PORT  [8100]" in lines


def test_a_passphrase_is_set_from_a_pipe(pithline, monkeypatch):
    monkeypatch.setattr(sys, "stdin", StringIO("heron ladle quartz tide\n"))
    code, out, _ = pithline("passphrase", "--data", "data")

    kept = Path("data/passphrase").read_text().strip()
    assert code == 0
    assert "heron" not in out + kept
    assert is_right("heron ladle quartz tide", kept)
    assert not is_right("heron ladle quartz tides", kept)
    assert not is_right("heron ladle quartz tide", "no hash at all")


def test_a_passphrase_that_is_too_short(pithline, monkeypatch):
    monkeypatch.setattr(sys, "stdin", StringIO("short\n"))

    code, _, err = pithline("passphrase", "--data", "data")

    assert code == 2
    assert "12 to 1000 letters" in err
    assert not Path("data/passphrase").exists()


def test_small_answers_are_sent_at_once():
    """The event loop turns Nagle's waiting off on sockets that name TCP, and on those alone."""
    with _listen("127.0.0.1", 0) as listening:
        assert listening.proto == socket.IPPROTO_TCP
