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


class UploadShown(BaseModel):
    """What became of an upload."""

    id: int
    name: str
    state: str = Field(description="kept (safe, not yet read) | stored | refused")
    message: str | None = Field(description="Why it was refused, and what to do.")
    size_bytes: int
    via: str
    received_at: datetime
    settled_at: datetime | None
    rows: Rows
    problems: list[dict[str, Any]] = Field(description="The first lines or cells not usable.")
    files: list[dict[str, Any]] = Field(description="How each file in it was understood.")
    status_url: str


class UploadsShown(BaseModel):
    """Several uploads, and what the worker still has to do for the site."""

    uploads: list[UploadShown]
    pending: str | None = Field(description="reading | analysing | null")


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
