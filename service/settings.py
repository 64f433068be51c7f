"""What may be set of the service: from the environment as PITHLINE_ and the name in capitals, or in code.

Every setting stands here, with its default and what it is for; `pithline serve --settings` lists them.
"""

import os
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import Field, FilePath, field_validator, model_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from service.process_memory import most_for_a_job

DATABASE_FILE, FILES_FOLDER = "pithline.db", "files"
"""What stands in the data folder."""


def users_data_folder() -> Path:
    """Return the folder for the user's own data, as the XDG base directory specification has it."""
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share") / "pithline"


class Settings(BaseSettings):
    """The service's settings. Frozen."""

    model_config = SettingsConfigDict(env_prefix="PITHLINE_", frozen=True, extra="forbid")

    host: str = Field(
        "127.0.0.1",
        description="Address to listen on. 127.0.0.1 is for this computer only; any other needs a passphrase.",
    )
    port: int = Field(8100, ge=0, le=65535, description="Port to listen on. 0 takes any free one.")
    allowed_hosts: Annotated[tuple[str, ...], NoDecode] = Field(
        (),
        description="Names that browsers may use for the service, with commas between them. localhost and plain "
        "addresses always work.",
    )
    certificate_file: FilePath | None = Field(None, description="TLS certificate (PEM), for https. Needs key_file.")
    key_file: FilePath | None = Field(None, description="Private key (PEM) of the certificate.")
    behind_https: bool = Field(
        default=False, description="True if a proxy in front uses https. Cookies are then sent over https only."
    )

    data_folder: Path = Field(default_factory=users_data_folder, description="Folder for the logs, plans and database.")
    database_url: str | None = Field(
        None, description="Database address, as SQLAlchemy writes it. Default: SQLite in the data folder."
    )
    set_aside: bool = Field(
        default=False,
        description="True to start even if the data folder has files but the database has no logs. The files are moved "
        "to the trash folder.",
    )
    passphrase_hash: str | None = Field(
        None, description="Argon2 hash of the passphrase. Default: the one that `pithline passphrase` set."
    )
    session_hours: float = Field(72.0, gt=0, le=24 * 365, description="Hours until people must sign in again.")
    tries: int = Field(5, ge=1, le=1000, description="Wrong passphrases that one address may try before it must wait.")
    tries_minutes: float = Field(15.0, gt=0, le=24 * 60, description="Minutes it must then wait.")

    upload_bytes: int = Field(2_000_000_000, ge=1, description="Largest upload, in bytes.")
    body_bytes: int = Field(1_000_000, ge=1000, description="Largest of any other request, in bytes.")
    free_bytes: int = Field(1_000_000_000, ge=0, description="Disk space that uploads leave free, in bytes.")

    slots: int = Field(1, ge=0, le=64, description="Jobs that run at once, each in its own process. 0 runs none.")
    job_cores: int | None = Field(
        None, ge=1, le=256, description="Processor cores for one job. Default: all cores, shared by the slots."
    )
    job_seconds: float = Field(3600.0, gt=0, description="Longest that one job may run, in seconds.")
    job_memory_bytes: int = Field(
        default_factory=most_for_a_job,
        ge=50_000_000,
        description="Most memory that one job may use with all its processes, in bytes. Linux and macOS only.",
    )
    most_queued: int = Field(100, ge=1, description="Most jobs that may wait.")
    most_lays: int = Field(20_000, ge=1, description="Most setups that one plan may try.")
    executor: str | None = Field(
        None,
        description="Where jobs run, if not on this computer: module:function that returns a "
        "concurrent.futures.Executor, such as that of a cluster.",
    )
    most_streams: int = Field(200, ge=1, description="Most pages that may follow progress at once.")

    @field_validator("allowed_hosts", mode="before")
    @classmethod
    def names_between_commas(cls, names: Any) -> Any:
        """Take a text apart."""
        return tuple(name.strip() for name in names.split(",") if name.strip()) if isinstance(names, str) else names

    @field_validator("host")
    @classmethod
    def is_an_address(cls, host: str) -> str:
        """Refuse what is neither an address nor localhost, as it is not known who could reach it."""
        if host != "localhost":
            try:
                ip_address(host)
            except ValueError:
                raise ValueError(f"must be an IP address or localhost, got {host}; try 127.0.0.1") from None
        return host

    @model_validator(mode="after")
    def certificate_with_its_key(self) -> Self:
        """Refuse one without the other."""
        if (self.certificate_file is None) != (self.key_file is None):
            raise ValueError("certificate_file and key_file go together; give both or none")
        return self

    @property
    def is_local(self) -> bool:
        """Whether only this machine can reach the service."""
        return self.host == "localhost" or ip_address(self.host).is_loopback

    @property
    def is_https(self) -> bool:
        """Whether browsers reach the service over https."""
        return self.certificate_file is not None or self.behind_https

    @property
    def database(self) -> str:
        """The database's URL."""
        return self.database_url or f"sqlite:///{(self.data_folder / DATABASE_FILE).absolute()}"

    @property
    def cores_a_job(self) -> int:
        """Processor cores that one job may use."""
        return self.job_cores or max(1, len(os.sched_getaffinity(0)) // max(1, self.slots))
