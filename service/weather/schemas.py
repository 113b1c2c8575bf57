"""Shapes of what weather gives and takes over HTTP."""

from datetime import date, datetime

from pydantic import BaseModel, Field


class WeatherFileShown(BaseModel):
    """What became of a weather file."""

    id: int
    name: str
    sha256: str
    size_bytes: int
    via: str = Field(description="page | api | fetch")
    state: str = Field(description="kept (safe, not yet read) | stored | refused")
    message: str | None = Field(description="Why it was refused, and what to do.")
    hours: int = Field(description="Hours with irradiance.")
    covers: tuple[datetime, datetime] | None
    received_at: datetime


class WeatherAddress(BaseModel):
    """The address to fetch weather from."""

    url: str = Field(
        description="http or https; {latitude}, {longitude}, {from} and {to} are filled in.",
        max_length=4000,
    )


class WeatherAddressShown(WeatherAddress):
    """The same, and how it goes."""

    asked_at: datetime | None
    next_at: datetime
    problem: str | None = Field(description="Why the last answer was of no use.")


class WeatherShown(BaseModel):
    """The weather of a site."""

    files: list[WeatherFileShown]
    source: WeatherAddressShown | None
    days_known: int
    first_day: date | None
    last_day: date | None
