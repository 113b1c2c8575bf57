"""Shapes of what the site register takes and gives over HTTP."""

from datetime import datetime

from pydantic import AwareDatetime, BaseModel, Field


class SiteShown(BaseModel):
    """A site."""

    slug: str
    name: str
    timezone: str
    version: int = Field(description="Rises with every new site file.")
    problem: str | None = Field(description="Why it could not be assessed.")
    pending: str | None = Field(description="reading | analysing while the worker is at it.")


class NewKey(BaseModel):
    """A gateway key to be made."""

    label: str = Field("gateway", max_length=100)


class KeyShown(BaseModel):
    """A gateway key without its text."""

    id: int
    label: str
    created_at: datetime


class KeyMade(KeyShown):
    """A gateway key with its text, shown once."""

    key: str


class ReadingShown(BaseModel):
    """What somebody read off a heat meter."""

    at: AwareDatetime
    heat_register_kwh: float = Field(ge=0, le=1e9)
    who: str | None = Field(None, max_length=200)
