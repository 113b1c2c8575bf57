"""Shapes of what ingest gives over HTTP."""

from datetime import date, datetime
from typing import Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field


class Rows(BaseModel):
    """Rows of one upload; kept are those that were new to the site."""

    read: int
    kept: int
    duplicate: int
    rejected: int


class Replaced(BaseModel):
    """Rows of a file that a later one replaced."""

    upload_id: int
    name: str
    rows: int


class UploadShown(BaseModel):
    """What became of an upload."""

    id: int
    name: str
    state: str = Field(
        description="kept (safe, not yet read) | stored (in force) | asking (say what its columns "
        "hold) | refused | undone"
    )
    message: str | None = Field(description="Why it was refused, and what to do.")
    sha256: str | None = Field(description="Checksum of its bytes; null for pushed rows.")
    size_bytes: int
    via: str
    received_at: datetime
    settled_at: datetime | None
    bytes_gone_at: datetime | None = Field(
        None, description="When the file itself was removed for its age; null while it is kept."
    )
    first_s: int | None = Field(description="First stamp in it, UTC epoch seconds.")
    last_s: int | None = Field(description="Last stamp in it.")
    rows: Rows
    replaced: list[Replaced] = Field(description="Which later files replaced rows of it.")
    problems: list[dict[str, Any]] = Field(
        description="The first rows and cells that were set aside."
    )
    files: list[dict[str, Any]] = Field(description="How each file in it was understood.")
    status_url: str


class UploadsShown(BaseModel):
    """Several uploads, and what the worker still has to do for the site."""

    uploads: list[UploadShown]
    pending: str | None = Field(description="reading | analysing | null")


class DropShown(BaseModel):
    """What became of a drop of many files."""

    states: dict[str, int] = Field(description="How many are in each state.")
    rows_read: int
    rows_kept: int
    rows_duplicate: int
    rows_rejected: int
    wanting: list[UploadShown] = Field(description="The first that were refused or are asking.")


class MapColumn(BaseModel):
    """What one column holds."""

    model_config = ConfigDict(extra="forbid")

    channel: str = Field(max_length=60, description="A channel, or time, date, time_of_day.")
    unit: str | None = Field(default=None, max_length=60, description="None: the usual one.")


class GivenMap(BaseModel):
    """A map: the keys of the `[log]` table of a site file."""

    model_config = ConfigDict(extra="forbid")

    columns: dict[str, MapColumn] = Field(
        default={},
        max_length=400,
        description="Head of a column, or its 1-based number, to what it holds.",
    )
    timezone: str | None = Field(default=None, description="IANA zone of the logger's clock.")
    values: Literal["sample", "mean"] | None = None
    stamp: Literal["end", "start"] | None = None
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    time_format: str | None = None
    date_order: Literal["day_first", "month_first", "year_first"] | None = None
    time_origin: AwareDatetime | None = None
    table: Literal["wide", "long"] | None = None
    dates: Literal["rows", "lines"] | None = None
    cells: Literal["all", "changes"] | None = None
    clock_offset_min: float | None = None
    clock_drift_min_per_month: float | None = None
    clock_from: date | None = None
    clock_until: date | None = None


class Pushed(BaseModel):
    """What became of a gateway's batch, which is settled: nothing of it need be sent again."""

    accepted: int = Field(description="Rows that were taken; they are on disk.")
    new: int = Field(description="How many of these were not known.")
    changed: int = Field(description="How many of these say something else than before.")
    left_out: int = Field(
        0,
        description="Rows that were not taken, as their days were rolled up or removed for their "
        "age. A figure of a whole day counts as a row.",
    )
    why: str | None = Field(None, description="Why rows were left out; null where none were.")


class Series(BaseModel):
    """Channels over time for a plot; null where there is no value."""

    start_s: list[int] = Field(description="Start of each step, UTC epoch seconds.")
    columns: dict[str, list[float | None]]
    reduced: bool = Field(description="Whether each pair of points is a bucket's extremes.")
