"""Files off the network: whole however they are cut, within limits, never where their name says."""

import asyncio
import hashlib
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.contract.refusals import DiskFullError, TooLargeError
from service.store.file_store import FileStore
from service.store.uploads import (
    CHUNK_BYTES,
    MOST_FIELD_BYTES,
    MOST_FIELDS,
    Limits,
    check_length,
    receiving,
    shown_name,
)
from service.typed.errors import InputError

FORM = "multipart/form-data; boundary=cut"
WIDE = Limits(10_000, 0)


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    store = FileStore(tmp_path_factory.mktemp("files"))
    store.make_folders()
    return store


def part(head, content):
    return b"--cut\r\nContent-Disposition: form-data; " + head.encode() + b"\r\n\r\n" + content + b"\r\n"


def form(content, name="log.ply", fields=()):
    parts = [part(f'name="{field}"', value.encode()) for field, value in fields]
    return b"".join([*parts, part(f'name="file"; filename="{name}"', content), b"--cut--\r\n"])


def received(files, chunks, content_type=FORM, name=None, limits=WIDE):
    async def body():
        for chunk in chunks:
            yield chunk

    async def kept():
        async with receiving(content_type, body(), name, files, limits) as received:
            files.keep(received.path, received.key)
            return received

    return asyncio.run(kept())


def left(files):
    return list((files.folder / "incoming").iterdir())


@given(
    st.binary(min_size=1, max_size=300),
    st.lists(st.integers(0, 700), max_size=8),
    st.dictionaries(st.sampled_from(["species", "cost", "bark"]), st.text(max_size=20), max_size=3),
)
def test_a_form_is_the_same_however_the_line_cuts_it(files, content, cuts, fields):
    body = form(content, fields=fields.items())
    places = [0, *sorted(min(cut, len(body)) for cut in cuts), len(body)]

    got = received(files, [body[a:b] for a, b in pairwise(places)])

    assert files.read(got.key) == content
    assert got.key == hashlib.sha256(content).hexdigest()
    assert (got.size, got.name, got.fields) == (len(content), "log.ply", fields)
    assert left(files) == []


def test_a_bare_body_is_taken_too(files):
    got = received(files, [b"ply", b"\n"], "application/octet-stream", "log.ply")

    assert (files.read(got.key), got.name) == (b"ply\n", "log.ply")


@pytest.mark.parametrize(
    ("body", "content_type", "name", "message"),
    [
        (form(b"x")[:-4], FORM, None, "cut off"),
        (form(b"x")[:40], FORM, None, "cut off"),
        (b"", FORM, None, "cut off"),
        (b"no form at all", FORM, None, "cannot be read"),
        (form(b"x"), "multipart/form-data", None, "no boundary"),
        (form(b"x"), "multipart/mixed; boundary=cut", None, "no boundary"),
        (part('name="species"', b"ash") + b"--cut--\r\n", FORM, None, "holds no file"),
        (form(b"x") [:-9] + form(b"y"), FORM, None, "more than one file"),
        (form(b""), FORM, None, "log.ply is empty"),
        (form(b"x", fields=[("cost", "1" * (MOST_FIELD_BYTES + 1))]), FORM, None, "cost must be at most"),
        (form(b"x", fields=[(f"f{k}", "1") for k in range(MOST_FIELDS + 1)]), FORM, None, "more than 30 fields"),
        (part("n" * 5000, b"x") + b"--cut--\r\n", FORM, None, "header size exceeded"),
        (b"x", "application/octet-stream", None, "holds no file"),
        (b"x", "application/octet-stream", "\n", "name must say"),
        (b"", "application/octet-stream", "log.ply", "log.ply is empty"),
    ],
)  # fmt: skip
def test_what_is_no_upload_is_refused_and_leaves_nothing(files, body, content_type, name, message):
    with pytest.raises(InputError, match=message):
        received(files, [body], content_type, name)

    assert left(files) == []


def test_a_file_over_its_limit_is_refused_before_it_has_all_come(files):
    came = []

    def endless():
        head = form(b"x" * 100).split(b"x")[0]
        yield head
        for _ in range(2000):
            came.append(1)
            yield b"x" * 1000

    with pytest.raises(TooLargeError, match="over 10,000 bytes"):
        received(files, endless())

    assert 1000 * len(came) <= WIDE.file_bytes + CHUNK_BYTES
    assert left(files) == []


def test_a_length_that_is_too_much_is_refused_at_once(files):
    with pytest.raises(TooLargeError):
        check_length("999999999", files, WIDE)
    check_length("nonsense", files, WIDE)
    check_length(None, files, WIDE)


def test_a_full_disk_is_told_before_and_while_a_file_comes(files, monkeypatch):
    monkeypatch.setattr(FileStore, "free_bytes", lambda _: 5000)

    with pytest.raises(DiskFullError, match="must stay free"):
        check_length("2000", files, Limits(10_000, 4000))
    with pytest.raises(DiskFullError):
        received(files, [form(b"x")], limits=Limits(10_000, 6000))
    assert left(files) == []


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\logs\\oak.ply", "oak.ply"),
        ("a\x00b\n.ply", "ab.ply"),
        ("ü" * 500 + ".ply", "ü" * 108 + ".ply"),
        ("..", ".."),
        ("log.", "log."),
        ("", ""),
    ],
)
def test_a_files_name_is_shown_and_no_path(name, shown):
    assert shown_name(name) == shown


@given(st.text(max_size=400))
def test_a_shown_name_is_short_and_one_step(name):
    shown = shown_name(name)

    assert len(shown) <= 120
    assert not set(shown) & {"/", "\\", "\n", "\x00"}


def test_what_came_in_and_was_not_kept_is_gone(files):
    async def body():
        yield form(b"refused in the end")

    async def refused():
        async with receiving(FORM, body(), None, files, WIDE) as received:
            assert received.path.read_bytes() == b"refused in the end"
            raise InputError("no")

    with pytest.raises(InputError, match="no"):
        asyncio.run(refused())

    assert left(files) == []
    assert not files.has(hashlib.sha256(b"refused in the end").hexdigest())


@pytest.mark.parametrize("key", ["", "..", "../" * 20 + "x", "A" * 64, "0" * 63, "0" * 64 + "\n"])
def test_what_is_no_hash_is_no_key(files, key):
    with pytest.raises(ValueError, match="64 hexadecimal digits"):
        files.path(key)


def test_the_same_content_is_kept_once(files):
    assert files.add(b"twice") == files.add(b"twice")
    assert files.has(hashlib.sha256(b"twice").hexdigest())
