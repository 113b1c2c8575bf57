"""What the API takes and gives about people, keys of the firm and customers' links."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict, Field

from service.accounts.customers import LONGEST_DAYS


class PersonWanted(BaseModel):
    """Somebody to be asked in."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"login": "fitter@example.org", "name": "A. Fitter", "role": "technician"}]
        }
    )

    login: str = Field(max_length=200, description="The name to sign in with.")
    name: str = Field("", max_length=200)
    role: str = Field("technician", description="owner | office | technician")


class RoleWanted(BaseModel):
    """Another role for somebody."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"role": "office"}]})

    role: str = Field(description="owner | office | technician")


class PersonShown(BaseModel):
    """Somebody who may sign in."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": 4,
                    "login": "fitter@example.org",
                    "name": "A. Fitter",
                    "role": "technician",
                    "invited": False,
                    "second_factor": True,
                }
            ]
        }
    )

    id: int
    login: str
    name: str
    role: str
    invited: bool = Field(description="Whether no password was set yet.")
    second_factor: bool


class PersonMade(PersonShown):
    """Somebody who was asked in, with the link that sets their password once."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": 4,
                    "login": "fitter@example.org",
                    "name": "A. Fitter",
                    "role": "technician",
                    "invited": True,
                    "second_factor": False,
                    "link": "https://sun.example/first-password?token=set_…",
                }
            ]
        }
    )

    link: str


class FirmKeyWanted(BaseModel):
    """A key of the firm to be made."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"label": "office program", "role": "reader"}]}
    )

    label: str = Field("program", max_length=100)
    role: str = Field("reader", description="reader | technician | office")


class FirmKeyShown(BaseModel):
    """A key of the firm without its text."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": 2,
                    "label": "office program",
                    "role": "reader",
                    "created_at": "2026-03-01T08:00:00Z",
                }
            ]
        }
    )

    id: int
    label: str
    role: str
    created_at: datetime


class FirmKeyMade(FirmKeyShown):
    """A key of the firm with its text, shown once."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": 2,
                    "label": "office program",
                    "role": "reader",
                    "created_at": "2026-03-01T08:00:00Z",
                    "key": "firm_…",
                }
            ]
        }
    )

    key: str


class LinkWanted(BaseModel):
    """A customer's link to be made."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"label": "owner", "days": 400}]})

    label: str = Field(max_length=200, description="For whom.")
    days: int = Field(400, ge=1, le=LONGEST_DAYS, description="How long it lasts.")


class LinkShown(BaseModel):
    """A link with which a customer sees the savings sheet of one site."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": 7,
                    "label": "owner",
                    "url": "https://sun.example/shared/WzdE…",
                    "created_at": "2026-03-01T08:00:00Z",
                    "expires_at": "2027-04-05T08:00:00Z",
                    "opened_at": None,
                }
            ]
        }
    )

    id: int
    label: str
    url: str
    created_at: datetime
    expires_at: datetime
    opened_at: datetime | None
