"""What the API takes and gives about findings and their cases."""

from datetime import date, datetime

from pydantic import BaseModel, ConfigDict, Field

from service.care.life import State


class StepWanted(BaseModel):
    """A step in a finding's life."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"to": "set_aside", "note": "owner away until spring", "until": "2026-03-01"},
                {"to": "put_right", "note": "pump changed", "done_at": "2026-06-02T14:00:00Z"},
            ]
        }
    )

    to: State = Field(description="The state it goes to.")
    note: str = Field("", max_length=2000, description="What there is to say; needed to set aside.")
    until: date | None = Field(None, description="Set aside until this day.")
    done_at: datetime | None = Field(None, description="When it was put right; default: now.")


class EventShown(BaseModel):
    """A step that was taken."""

    at: datetime
    who: str
    state: State
    note: str


class CaseShown(BaseModel):
    """A finding, and what people did about it."""

    key: str
    kind: str
    channel: str | None
    urgency: str
    start: datetime
    end: datetime | None
    summary: str
    state: State
    until: date | None
    events: list[EventShown]
