"""The passphrase, kept as its Argon2id hash (RFC 9106) and never otherwise."""

from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from service.settings import Settings
from service.typed.errors import InputError
from service.typed.files import write_whole

LEAST_LETTERS = 12
MOST_LETTERS = 1000
PASSPHRASE_FILE = "passphrase"  # noqa: S105 - a name
_HASHER = PasswordHasher()


def hashed(passphrase: str) -> str:
    """Return the hash of a new passphrase. Raises InputError for one that is too short."""
    if not LEAST_LETTERS <= len(passphrase) <= MOST_LETTERS:
        raise InputError(
            f"the passphrase must have {LEAST_LETTERS} to {MOST_LETTERS} letters, got {len(passphrase)}; "
            "four or five words that do not go together are good"
        )
    return _HASHER.hash(passphrase)


def keep_passphrase(passphrase: str, folder: Path) -> Path:
    """Keep the hash of a new passphrase in the data folder; return its file. Raises InputError."""
    path = folder / PASSPHRASE_FILE
    data = f"{hashed(passphrase)}\n".encode()
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise InputError(f"{folder} cannot be made: {error.strerror or error}") from None
    write_whole(path, data)
    path.chmod(0o600)
    return path


def passphrase_hash(settings: Settings) -> str | None:
    """Return the hash that holds; None where there is no passphrase."""
    if settings.passphrase_hash is not None:
        return settings.passphrase_hash
    try:
        return (settings.data_folder / PASSPHRASE_FILE).read_text().strip() or None
    except FileNotFoundError:
        return None


def check_reach(settings: Settings) -> None:
    """Refuse to be reached by others without a passphrase. Raises InputError."""
    if not settings.is_local and passphrase_hash(settings) is None:
        raise InputError(
            f"host {settings.host} can be reached by others, which needs a passphrase; set one with `pithline "
            "passphrase`, or listen on 127.0.0.1"
        )


def is_right(passphrase: str, hash_text: str) -> bool:
    """Whether a passphrase is the one that was hashed."""
    try:
        return _HASHER.verify(hash_text, passphrase[:MOST_LETTERS])
    except (VerificationError, InvalidHashError):
        return False
