"""What visits take and give over HTTP."""

from datetime import datetime

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from analysis.results import Urgency


class PlannedFinding(BaseModel):
    """A finding in the words that it had when the visit was planned."""

    key: str
    kind: str
    channel: str | None
    urgency: Urgency
    title: str
    summary: str
    checks: list[str]
    cautions: list[str]


class TypedField(BaseModel):
    """What somebody typed into one field, and when, by the clock of their phone."""

    field: str = Field(pattern=r"^[a-z0-9_.]{1,60}$")
    value: str = Field(max_length=8000)
    typed_at: AwareDatetime


class SaveGiven(BaseModel):
    """What was typed since the save before; `key` makes it count once."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "key": "7d0b8b0e-6a52-4a5e-9f0e-3a1c2b9d4e55",
                    "sent_at": "2026-06-02T10:05:00Z",
                    "fields": [
                        {
                            "field": "pressure_found_bar",
                            "value": "1.2",
                            "typed_at": "2026-06-02T09:58:12Z",
                        }
                    ],
                    "finished_at": None,
                }
            ]
        }
    )

    key: str = Field(
        pattern=r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$",
        description="A UUID that the sender made; the same one again changes nothing.",
    )
    sent_at: AwareDatetime = Field(
        description="Now, by the sender's clock: a wrong clock then does no harm."
    )
    fields: list[TypedField] = Field(default_factory=list, max_length=500)
    finished_at: AwareDatetime | None = Field(None, description="When the visit was finished.")


class ValueShown(BaseModel):
    """The value that counts in a field."""

    value: str
    who: str
    typed_at: datetime


class SaveShown(BaseModel):
    """A visit after a save."""

    state: str
    problem: str | None = Field(description="Why it could not be finished.")
    problems: dict[str, str] = Field(description="By field: why what was typed cannot be used.")
    values: dict[str, ValueShown]


class PhotoShown(BaseModel):
    """A photo that was taken in."""

    id: int
    sha256: str
    size_bytes: int
    width_px: int
    height_px: int
