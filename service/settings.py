"""What an operator may set, by environment variables with the prefix `SUNTALLY_`."""

import ipaddress
import socket
from datetime import timedelta
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

_MIB = 1024 * 1024


class Settings(BaseSettings):
    """All settings; built once by the command and handed on."""

    model_config = SettingsConfigDict(env_prefix="SUNTALLY_", frozen=True, extra="forbid")

    data_dir: Path = Field(Path("suntally-data"), description="Folder of database and raw logs.")
    database_url: str | None = Field(
        None, description="PostgreSQL by URL; without it SQLite in the data folder."
    )
    host: str = Field("127.0.0.1", description="Address to listen on.")
    port: int = Field(8321, ge=0, le=65535, description="Port to listen on.")
    base_url: str | None = Field(
        None, description="Address that people use, for links in mails; set it behind a proxy."
    )
    proxy_addresses: str = Field(
        "127.0.0.1, ::1",
        description="Addresses or networks of the proxy, whose word on who asks is taken.",
    )
    password_file: Path | None = Field(
        None, description="File that holds the first password, instead of the one-time link."
    )
    session_days: int = Field(30, ge=1, le=400, description="How long a sign-in lasts.")
    session_idle_hours: float = Field(
        # A weekend: whoever carries the phone up the roof on Monday is still signed in.
        72.0,
        ge=0.5,
        le=9600,
        description="After how long without use a sign-in ends.",
    )
    max_upload_mib: int = Field(200, ge=1, description="Largest body of one upload request.")
    max_unpacked_mib: int = Field(600, ge=1, description="Largest content of one archive.")
    max_push_mib: int = Field(8, ge=1, description="Largest body of one gateway batch.")
    max_pushes: int = Field(
        40, ge=1, description="Gateway batches taken at the same time; others come again later."
    )
    max_weather_mib: int = Field(
        32, ge=1, description="Largest weather file, handed in or fetched."
    )
    weather_private_hosts: bool = Field(
        False, description="Whether weather may be fetched from this machine or its own network."
    )
    webhook_private_hosts: bool = Field(
        False, description="Whether webhooks may go to this machine or its own network."
    )
    push_settle_s: float = Field(
        60.0,
        ge=0,
        le=3600,
        description="How long gateway rows may gather before their day is analysed.",
    )
    refresh_hours: float = Field(
        6.0, gt=0, description="How old a report may get before silence and the like are judged."
    )
    preview_days: float = Field(
        30.0, gt=0, description="How long a log that asks something waits before it is forgotten."
    )
    undo_days: float = Field(30.0, gt=0, description="How long a deleted site can be brought back.")
    keep_full_years: int | None = Field(
        None,
        ge=1,
        le=100,
        description="Years that rows are kept as they came; older days become five-minute means.",
    )
    keep_samples_years: int | None = Field(
        None, ge=1, le=100, description="Years that rows are kept at all; older ones are removed."
    )
    keep_files_years: int | None = Field(
        None, ge=1, le=100, description="Years that log files are kept as they were handed in."
    )
    worker_lease_s: float = Field(
        60.0, gt=0, le=3600, description="After how long a silent worker's task is taken over."
    )
    analysis_processes: int = Field(
        1, ge=1, le=256, description="Processes that analyse; 1 is the worker itself."
    )
    dask_address: str | None = Field(
        None, description="Scheduler of a Dask cluster that analyses, such as tcp://host:8786."
    )
    worker_pause_s: float = Field(0.5, gt=0, le=1.0, description="Pause of an idle worker.")
    log_format: Literal["text", "json"] = Field(
        "text", description="How the log is written: lines for people, or JSON."
    )
    metrics_token: SecretStr | None = Field(
        None, description="What a monitor shows to read /metrics; without, this machine only."
    )
    min_free_mib: int = Field(
        200, ge=0, description="Room on the disk below which the service is not ready."
    )
    smtp_host: str | None = Field(None, description="Mail server; without it mails become files.")
    smtp_port: int = Field(587, description="Port of the mail server.")
    smtp_user: str | None = Field(None, description="Account at the mail server.")
    smtp_password: SecretStr | None = Field(None, description="Its password.")
    smtp_starttls: bool = Field(True, description="Whether the connection is encrypted.")
    mail_from: str = Field("Suntally <suntally@localhost>", description="Sender of mails.")
    outbox_dir: Path | None = Field(
        None, description="Folder for .eml files; default: outbox in the data folder."
    )

    @field_validator("proxy_addresses")
    @classmethod
    def _are_addresses(cls, value: str) -> str:
        for one in value.split(","):
            try:
                ipaddress.ip_network(one.strip())
            except ValueError:
                raise ValueError(
                    f"“{one.strip()}” is neither an address nor a network such as 172.16.0.0/12; "
                    "several are parted by commas"
                ) from None
        return value

    @property
    def url(self) -> str:
        """The database's URL."""
        if self.database_url:
            return self.database_url
        return f"sqlite:///{self.data_dir / 'suntally.db'}"

    @property
    def outbox(self) -> Path:
        """Where mails become files."""
        return self.outbox_dir or self.data_dir / "outbox"

    @property
    def public_url(self) -> str:
        """The address in links, without a slash at its end."""
        host = socket.gethostname() if self.host in ("0.0.0.0", "::", "") else self.host  # noqa: S104
        host = f"[{host}]" if ":" in host else host
        return (self.base_url or f"http://{host}:{self.port}").rstrip("/")

    @property
    def reachable(self) -> bool:
        """Whether others than this machine can reach the service; then people always sign in."""
        public = urlsplit(self.public_url).hostname or ""
        return not (is_loopback(self.host) and is_loopback(public))

    @property
    def secure_cookies(self) -> bool:
        """Whether people reach the service by https."""
        return self.public_url.startswith("https://")

    @property
    def session_idle(self) -> timedelta:
        """After how long without use a sign-in ends."""
        return timedelta(hours=self.session_idle_hours)

    @property
    def max_upload_bytes(self) -> int:
        """The largest body of one upload request."""
        return self.max_upload_mib * _MIB

    @property
    def max_unpacked_bytes(self) -> int:
        """The largest content of one archive."""
        return self.max_unpacked_mib * _MIB

    @property
    def max_weather_bytes(self) -> int:
        """The largest weather file."""
        return self.max_weather_mib * _MIB

    @property
    def max_push_bytes(self) -> int:
        """The largest body of one gateway batch."""
        return self.max_push_mib * _MIB


def is_loopback(host: str) -> bool:
    """Tell whether a host name or address means this machine only."""
    if host.lower() in ("localhost", "localhost.localdomain"):
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False
