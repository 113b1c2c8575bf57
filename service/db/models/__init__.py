"""All tables; importing this fills the metadata."""

from service.db.models.accounts import (
    Account,
    CustomerLink,
    Firm,
    FirmKey,
    ServerSecret,
    SetupLink,
    TrailEntry,
    WebSession,
)
from service.db.models.assessments import DayNames, DayRow, FindingSeen, SiteReport
from service.db.models.care import CaseEvent, FindingCase
from service.db.models.jobs import AnalysisPause, Claim, Heartbeat
from service.db.models.letters import CustomerContact, YearlyLetter
from service.db.models.mail import Outbox, OutboxPart, Recipient, RecipientSite
from service.db.models.privacy import Consent, KeptPapers
from service.db.models.readings import ChannelSeen, DayBlock, DayLayer, DayMark, RolledDay, Upload
from service.db.models.sites import ApiKey, Site, SiteFileVersion
from service.db.models.visits import Visit, VisitEntry, VisitPhoto, VisitSave
from service.db.models.weather import WeatherDay, WeatherFile, WeatherSource
from service.db.models.webhooks import Webhook, WebhookDelivery

__all__ = [
    "Account",
    "AnalysisPause",
    "ApiKey",
    "CaseEvent",
    "ChannelSeen",
    "Claim",
    "Consent",
    "CustomerContact",
    "CustomerLink",
    "DayBlock",
    "DayLayer",
    "DayMark",
    "DayNames",
    "DayRow",
    "FindingCase",
    "FindingSeen",
    "Firm",
    "FirmKey",
    "Heartbeat",
    "KeptPapers",
    "Outbox",
    "OutboxPart",
    "Recipient",
    "RecipientSite",
    "RolledDay",
    "ServerSecret",
    "SetupLink",
    "Site",
    "SiteFileVersion",
    "SiteReport",
    "TrailEntry",
    "Upload",
    "Visit",
    "VisitEntry",
    "VisitPhoto",
    "VisitSave",
    "WeatherDay",
    "WeatherFile",
    "WeatherSource",
    "WebSession",
    "Webhook",
    "WebhookDelivery",
    "YearlyLetter",
]
