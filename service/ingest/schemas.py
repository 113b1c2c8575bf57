"""Shapes of what ingest gives over HTTP."""

from datetime import datetime
from typing import Any

from pydantic import BaseModel, Field


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
    first_s: int | None = Field(description="First stamp in it, UTC epoch seconds.")
    last_s: int | None = Field(description="Last stamp in it.")
    rows: Rows
    replaced: list[Replaced] = Field(description="Which later files replaced rows of it.")
    problems: list[dict[str, Any]] = Field(description="The first lines or cells not usable.")
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


class Pushed(BaseModel):
    """What became of a gateway's batch; it is on disk."""

    accepted: int
    new: int
    changed: int


class Series(BaseModel):
    """Channels over time for a plot; null where there is no value."""

    start_s: list[int] = Field(description="Start of each step, UTC epoch seconds.")
    columns: dict[str, list[float | None]]
    reduced: bool = Field(description="Whether each pair of points is a bucket's extremes.")
