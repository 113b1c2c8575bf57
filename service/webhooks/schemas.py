"""What the API takes and gives about webhooks."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

_SHOWN: JsonDict = {
    "id": 3,
    "url": "https://office.example/sun",
    "events": ["finding.opened", "finding.urgent"],
    "created_at": "2026-03-01T08:00:00Z",
    "paused_at": None,
    "problem": None,
}


class WebhookWanted(BaseModel):
    """A webhook to be set up."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"url": "https://office.example/sun", "events": ["finding.opened"]},
            ]
        }
    )

    url: str = Field(max_length=2000, description="Where messages go: https.")
    events: list[str] = Field(description="What is told.")


class WebhookShown(BaseModel):
    """A webhook without its secret."""

    model_config = ConfigDict(json_schema_extra={"examples": [_SHOWN]})

    id: int
    url: str
    events: list[str]
    created_at: datetime
    paused_at: datetime | None = Field(description="Nothing is sent from then on.")
    problem: str | None = Field(description="Why the last try was in vain.")


class WebhookMade(WebhookShown):
    """A webhook with its secret, shown once."""

    model_config = ConfigDict(json_schema_extra={"examples": [{**_SHOWN, "secret": "whsec_…"}]})

    secret: str = Field(description="Signs each message; shown this once.")


class DeliveryShown(BaseModel):
    """A message to a webhook."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": 12,
                    "event": "finding.opened",
                    "event_id": "msg_0f3c",
                    "state": "sent",
                    "tries": 1,
                    "status": 204,
                    "problem": None,
                    "created_at": "2026-03-01T08:00:00Z",
                    "done_at": "2026-03-01T08:00:05Z",
                }
            ]
        }
    )

    id: int
    event: str
    event_id: str = Field(description="The message's webhook-id, the same however often tried.")
    state: str = Field(description="waiting | sent | failed")
    tries: int
    status: int | None = Field(description="What the address answered last.")
    problem: str | None
    created_at: datetime
    done_at: datetime | None
