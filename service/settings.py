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
        "127.0.0.1", description="Address to listen on. Any but this machine's own loopback needs a passphrase."
    )
    port: int = Field(8100, ge=0, le=65535, description="Port to listen on; 0: any that is free.")
    allowed_hosts: Annotated[tuple[str, ...], NoDecode] = Field(
        (),
        description="Names that browsers may call the service by, beside localhost and plain addresses, with commas "
        "between.",
    )
    certificate_file: FilePath | None = Field(None, description="TLS certificate (PEM), to serve https; with key_file.")
    key_file: FilePath | None = Field(None, description="Its private key (PEM).")
    behind_https: bool = Field(
        default=False, description="Whether a proxy in front speaks https, so that cookies are sent over it alone."
    )

    data_folder: Path = Field(
        default_factory=users_data_folder, description="Where logs, plans and the database are kept."
    )
    database_url: str | None = Field(
        None, description="Database, as SQLAlchemy writes it; else SQLite in the data folder."
    )
    set_aside: bool = Field(
        default=False,
        description="Whether to start where files of logs are kept but the database holds no log: they are moved to "
        "the trash folder.",
    )
    passphrase_hash: str | None = Field(
        None, description="Argon2 hash of the passphrase; else what `pithline passphrase` wrote in the data folder."
    )
    session_hours: float = Field(72.0, gt=0, le=24 * 365, description="How long one stays signed in.")
    tries: int = Field(5, ge=1, le=1000, description="Wrong passphrases from one address before it must wait.")
    tries_minutes: float = Field(15.0, gt=0, le=24 * 60, description="How long it must wait then.")

    upload_bytes: int = Field(2_000_000_000, ge=1, description="The largest file that may be uploaded.")
    body_bytes: int = Field(1_000_000, ge=1000, description="The largest body of any other request.")
    free_bytes: int = Field(1_000_000_000, ge=0, description="Disk space that uploads must leave free.")

    slots: int = Field(1, ge=0, le=64, description="Jobs that run at once, each in a process of its own; 0: none.")
    job_cores: int | None = Field(None, ge=1, le=256, description="Processor cores of one job; else all over slots.")
    job_seconds: float = Field(3600.0, gt=0, description="The longest that one job may run.")
    job_memory_bytes: int = Field(
        default_factory=most_for_a_job,
        ge=50_000_000,
        description="The most memory that one job may take, with all its processes; watched on Linux and macOS alone.",
    )
    most_queued: int = Field(100, ge=1, description="Jobs that may wait.")
    most_lays: int = Field(20_000, ge=1, description="The most lays that one plan may ask for.")
    executor: str | None = Field(
        None,
        description="Where jobs run instead of in local processes: module:function, which returns a "
        "concurrent.futures.Executor, such as that of a cluster.",
    )
    most_streams: int = Field(200, ge=1, description="Event streams that may be open at once.")

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
