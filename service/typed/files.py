"""Files of the user's: read with clear errors, written whole or not at all, and looked for in their places.

Mill and prices are looked for in the current folder, the user's own, then the samples. A plan says which were taken,
since a plan with the wrong prices looks just like one with the right ones.
"""

import hashlib
import os
import stat
import tempfile
import tomllib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

import typer
from pydantic import ValidationError

from optimizer.documents.typed import Typed, one_line, refusal_of
from scans.messages import writable
from service.typed.errors import InputError
from service.typed.mistaken_file import mistaken

Model = TypeVar("Model", bound=Typed)

MILL_FILE = "mill.toml"
PRICES_FILE = "prices.toml"
SHEET_FILE = "log.toml"
SHEET_SUFFIX = ".toml"
MAX_TOML_BYTES = 1_000_000
MAX_LOG_BYTES = 2_000_000_000
SAMPLES = resources.files("service") / "samples"


@dataclass(frozen=True)
class FileRead:
    """A file as it was read.

    shown : the name to call it by. sha256 : hash of its bytes, in hexadecimal.
    """

    shown: str
    data: bytes
    sha256: str

    @property
    def suffix(self) -> str:
        """The ending of its name, in lower case, with the dot."""
        return Path(self.shown).suffix.lower()


@dataclass(frozen=True)
class Settled:
    """A file that was settled on, and where it was found: in words for the reader."""

    file: FileRead
    where: str


def users_folder() -> Path:
    """Return the user's own folder, where mill and price book are looked for after the current one."""
    return Path(typer.get_app_dir("pithline"))


def read_file(path: Path, *, at_most: int = MAX_LOG_BYTES) -> FileRead:
    """Read a file. Raises InputError where it is missing, no file, unreadable, empty or too large."""
    shown = writable(str(path))
    try:
        about = path.stat()
        if stat.S_ISDIR(about.st_mode):
            raise InputError(f"{shown} is a folder; name a file in it")
        if not stat.S_ISREG(about.st_mode):
            # Reading a pipe or a device may wait, or go on, for ever.
            raise InputError(f"{shown} is not a file but a pipe or a device; save its data in a file and name that")
        if about.st_size > at_most:
            raise InputError(f"{shown} is too large: {about.st_size} bytes, at most {at_most} are read")
        data = path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{shown} does not exist; check its name and folder") from None
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise InputError(f"{shown} cannot be read: {_why(error)}") from None
    if not data:
        raise InputError(f"{shown} is empty; nothing can be read from it")
    return FileRead(shown, data, hashlib.sha256(data).hexdigest())


def _why(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def read_sample(name: str) -> FileRead:
    """Read one of the samples that come with Pithline."""
    data = (SAMPLES / name).read_bytes()
    return FileRead(name, data, hashlib.sha256(data).hexdigest())


def settle(given: Path | None, name: str) -> Settled:
    """Find the mill or price book to use: the one given, the current folder's, the user's, the sample."""
    if given is not None:
        return Settled(read_file(given, at_most=MAX_TOML_BYTES), "given")
    for folder, where in ((Path(), "in this folder"), (users_folder(), "in your own folder")):
        if _is_there(folder / name):
            return Settled(read_file(folder / name, at_most=MAX_TOML_BYTES), where)
    return Settled(read_sample(name), "the sample that comes with Pithline")


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError as error:
        raise InputError(f"{writable(str(path))} cannot be read: {_why(error)}") from None


def parse_toml(file: FileRead) -> dict[str, Any]:
    """Parse TOML. Raises InputError with the line where the syntax breaks."""
    try:
        return tomllib.loads(file.data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = file.data.count(b"\n", 0, error.start) + 1
        raise InputError(f"{file.shown}: line {line} is not UTF-8 text; save the file as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{file.shown} has a typo: {error}", 'put text in quotes: throat = "56 in"') from None
    except RecursionError:
        raise InputError(f"{file.shown} cannot be read: it is nested too deeply") from None
    except ValueError:  # of a whole number with more digits than Python reads
        raise InputError(f"{file.shown} holds a number of thousands of digits; look at its numbers") from None


def parse_document(file: FileRead, model: type[Model]) -> Model:
    """Parse a document that a person typed. Raises InputError, the file's name in front."""
    typed = parse_toml(file)
    try:
        return model.model_validate(typed)
    except ValidationError as error:
        wrong = refusal_of(error.errors(include_url=False)[0]).field
        own = InputError(f"{file.shown}: {one_line(error)}", field=wrong)
        raise mistaken(file.shown, set(typed), model) or own from None


def check_writable(path: Path) -> None:
    """Refuse a file that cannot be written, before the work that would make it. Raises InputError."""
    shown = writable(str(path))
    try:
        if path.is_dir():
            raise InputError(f"{shown} is a folder; name a file in it")
        if not path.parent.is_dir():
            raise InputError(
                f"{shown} cannot be written: there is no folder {writable(str(path.parent))}; make it first"
            )
        if _is_device(path):
            return
        if path.exists() and not path.is_file():
            raise InputError(f"{shown} is not a file but a pipe or a device; name a file")
        handle, probe = tempfile.mkstemp(dir=path.parent, prefix=_PREFIX)
        os.close(handle)
        Path(probe).unlink()
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{shown} cannot be written: {_why(error)}") from None


_PREFIX = ".pithline-"


def _is_device(path: Path) -> bool:
    """Tell whether a path is such as /dev/null, which is written to as it is."""
    return path.is_char_device()


def write_whole(path: Path, data: bytes) -> None:
    """Write a file by way of a temporary one beside it, so that nobody ever finds half of it.

    Raises InputError where that cannot be done.
    """
    check_writable(path)
    temporary: Path | None = None
    try:
        if _is_device(path):
            path.write_bytes(data)
            return
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=_PREFIX)
        temporary = Path(name)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        # mkstemp lets the owner alone read; a file that a person asked for gets the usual rights.
        umask = os.umask(0)
        os.umask(umask)
        temporary.chmod(0o666 & ~umask)
        temporary.replace(path)
    except OSError as error:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        raise InputError(f"{writable(str(path))} cannot be written: {_why(error)}") from None
