"""Files read with clear errors, written whole, looked for in their places."""

import hashlib
import os
from pathlib import Path

import pytest

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from service.typed import files
from service.typed.errors import InputError
from service.typed.files import MILL_FILE, PRICES_FILE, parse_document, read_file, read_sample, settle, write_whole
from service.typed.log_reading import named_after
from service.typed.log_sheet import LogSheetTyped

MILL_TEXT = 'throat = "56 in"\nkerf = "1/16 in"\nheight_step = "1/16 in"\n'


def test_a_file_comes_with_its_hash_and_ending(tmp_path: Path) -> None:
    path = tmp_path / "Log.TOML"
    path.write_bytes(b"a = 1\n")

    file = read_file(path)

    assert file.sha256 == hashlib.sha256(b"a = 1\n").hexdigest()
    assert file.suffix == ".toml"


def test_what_cannot_be_read_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "empty.ply").touch()
    (tmp_path / "large.toml").write_bytes(b"#" * 101)

    for path, said in (("missing.ply", "does not exist"), ("", "is a folder"), ("empty.ply", "is empty")):
        with pytest.raises(InputError, match=said):
            read_file(tmp_path / path)
    with pytest.raises(InputError, match="101 bytes"):
        read_file(tmp_path / "large.toml", at_most=100)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b'name = "x"\nthroat = 56 in\n', "line 2"),
        (b'name = "x"\nname2 = "caf\xe9"\n', "line 2 is not UTF-8"),
        (b'throat = "56 in"\nthroat = "57 in"\n', "line 2"),
        (b"[" * 5000, "has a typo"),
        (MILL_TEXT.encode() + b"throet_depth = 1\n", "did you mean throat_depth"),
    ],
)
def test_a_wrong_document_is_said_with_the_files_name_in_front(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "mill.toml"
    path.write_bytes(data)

    with pytest.raises(InputError, match=said) as caught:
        parse_document(read_file(path), Mill)
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "mill.toml"
    path.write_bytes(b"\xef\xbb\xbf" + MILL_TEXT.encode())

    assert parse_document(read_file(path), Mill).throat_m == pytest.approx(1.4224)


def test_the_mill_is_looked_for_here_then_in_the_users_folder_then_among_the_samples(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, own, other = tmp_path / "here", tmp_path / "own", tmp_path / "other.toml"
    here.mkdir()
    own.mkdir()
    monkeypatch.chdir(here)
    monkeypatch.setattr(files, "users_folder", lambda: own)

    assert settle(None, MILL_FILE).file.data == read_sample(MILL_FILE).data
    (own / MILL_FILE).write_text("# own")
    assert settle(None, MILL_FILE).file.data == b"# own"
    (here / MILL_FILE).write_text("# here")
    assert settle(None, MILL_FILE).file.data == b"# here"
    other.write_text("# other")
    assert settle(other, MILL_FILE).file.data == b"# other"
    with pytest.raises(InputError, match="does not exist"):
        settle(tmp_path / "none.toml", MILL_FILE)


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "plan.json"
    write_whole(path, b"old")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(InputError, match="No space left"):
        write_whole(path, b"new")

    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["plan.json"]  # noqa: PTH208


def test_a_file_written_has_the_usual_rights(tmp_path: Path) -> None:
    path, usual = tmp_path / "plan.json", tmp_path / "usual"
    usual.touch()

    write_whole(path, b"x")

    assert path.stat().st_mode == usual.stat().st_mode


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        write_whole(tmp_path / "none" / "plan.json", b"x")


@pytest.mark.parametrize(
    ("name", "model"),
    [(MILL_FILE, Mill), (PRICES_FILE, PriceBook), ("log.toml", LogSheetTyped), ("log_straight.toml", LogSheetTyped)],
)
def test_samples_are_what_they_are_samples_of_and_say_that_they_are_invented(name: str, model: type) -> None:
    file = read_sample(name)

    assert parse_document(file, model) is not None
    assert b"invented" in file.data.split(b"\n\n")[0]


@pytest.mark.parametrize(("file_name", "name"), [
    ("invented_scan.ply", "Invented scan"), ("red_oak  2.final.obj", "Red oak 2.final"), ("IMG-7.las", "IMG-7"),
    ("___.ply", "___.ply"),
])  # fmt: skip
def test_a_log_that_nobody_named_is_called_as_one_would_write_its_file(file_name, name):
    assert named_after(file_name) == name
