"""All tables; importing this fills the metadata."""

from service.db.models.accounts import Account, Firm, SetupLink, WebSession
from service.db.models.assessments import DayRow, FindingSeen, SiteReport
from service.db.models.jobs import Claim, Heartbeat
from service.db.models.mail import Outbox, Recipient
from service.db.models.readings import ChannelSeen, DayBlock, DayLayer, DayMark, Upload
from service.db.models.sites import ApiKey, Site, SiteFileVersion
from service.db.models.weather import WeatherDay, WeatherFile, WeatherSource

__all__ = [
    "Account",
    "ApiKey",
    "ChannelSeen",
    "Claim",
    "DayBlock",
    "DayLayer",
    "DayMark",
    "DayRow",
    "FindingSeen",
    "Firm",
    "Heartbeat",
    "Outbox",
    "Recipient",
    "SetupLink",
    "Site",
    "SiteFileVersion",
    "SiteReport",
    "Upload",
    "WeatherDay",
    "WeatherFile",
    "WeatherSource",
    "WebSession",
]
