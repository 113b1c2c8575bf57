"""What goes into the weekly digest, and what its templates show."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.results import Report
from dashboards.digest_changes import Before
from dashboards.digest_picture import WeekHeat
from dashboards.mails import FindingLines


@dataclass(frozen=True, slots=True, kw_only=True)
class DigestSite:
    """A site as the service knows it.

    Attributes
    ----------
    report : its latest report without what is set aside, None where there is none
    why_not : why there is none, or why it could not be renewed, in plain words
    first_seen : finding key to when it was first seen, UTC epoch seconds
    states : finding key to what people did about it
    before : what the reader was told; None for a reader who had no digest yet
    """

    slug: str
    name: str
    report: Report | None
    why_not: str | None = None
    first_seen: Mapping[str, float] = field(default_factory=dict)
    states: Mapping[str, str] = field(default_factory=dict)
    before: Before | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """The week's heat as a bar: the share of the expected that came, and both in words."""

    share_percent: int
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteBlock:
    """One site at which something changed that asks for somebody."""

    name: str
    href: str
    balance: Balance | None
    findings: tuple[FindingLines, ...]
    more: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortLine:
    """One site, one line."""

    name: str
    href: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """The picture in the mail: its `cid`, and what it shows in words and as lines."""

    cid: str
    alt: str
    weeks: tuple[WeekHeat, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DigestMail:
    """The whole digest; `quiet` where nothing changed for its reader."""

    subject: str
    days: str
    headline: str
    since: str
    tally: str
    quiet: bool
    lost: str | None
    changed: tuple[SiteBlock, ...]
    changed_more: str | None
    put_right: tuple[ShortLine, ...]
    picture: Picture | None
    standing: tuple[ShortLine, ...]
    standing_more: str | None
    watching: tuple[ShortLine, ...]
    unjudged: tuple[ShortLine, ...]
    unjudged_more: str | None
    calm: tuple[str, ...]
    fleet_href: str
    settings_href: str
    stop_href: str | None
