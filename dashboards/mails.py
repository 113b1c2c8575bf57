"""What is mailed: the parts of a mail, what it says of one finding, and the urgent mail.

Mails say nothing of `no_draw`: that somebody is away is nobody else's business. The plain text
is as good as the HTML, and the HTML needs neither script nor anything from outside.
"""

import base64
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from analysis.results import Finding, Report, Urgency
from dashboards.format import URGENCY_WORDS, bounded, moment, sentence, span
from dashboards.links import finding_path, site_path
from dashboards.losses import not_counted
from dashboards.texts import Texts, title_of
from dashboards.theme import FONT_STACK, LIGHT

STANDING_CAUTION = (
    "Hot fluid and steam, heights and mains voltage can kill. Before any work let the collector "
    "cool, covered, and isolate the supply; local codes decide who may do it."
)
_TEXT_WIDTH = 72
_SUBJECT_LENGTH = 200

Status = Literal["new", "worse", "back", "open", "right"]
STATUS_WORDS: Mapping[Status, str] = {
    "new": "New",
    "worse": "More urgent than it was",
    "back": "Came back",
    "open": "Still open",
    "right": "Put right",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MailPart:
    """A picture inside a mail, named there by its `cid`, or without one a file that goes along."""

    name: str
    media_type: str
    content: bytes
    cid: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mail:
    """A mail without its envelope; `stop_url` is where its reader stops mail of this kind."""

    subject: str
    text: str
    html: str
    parts: tuple[MailPart, ...] = ()
    stop_url: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingLines:
    """One finding, in the words of a mail.

    Attributes
    ----------
    status : new, still open or put right, in words
    lost : heat lost so far with its bounds, None where it cannot be told
    not_counted : why it is not told
    lost_week : of that, in the week that the mail is about
    check, caution : the first thing to look at and what to be careful about; both or none
    """

    status: str
    mark: Urgency
    urgency: str
    title: str
    sentence: str
    when: str
    lost: str | None
    not_counted: str
    lost_week: str | None
    check: str | None
    caution: str | None
    href: str


def finding_lines(
    finding: Finding,
    *,
    report: Report,
    slug: str,
    base_url: str,
    texts: Texts,
    status: Status,
    lost_week: str | None = None,
) -> FindingLines:
    """Put one finding into the words of a mail."""
    channel = f" ({finding.channel.replace('_', ' ')})" if finding.channel else ""
    check = finding.check_next[0] if finding.check_next and status != "right" else None
    caution = finding.cautions[0] if finding.cautions else STANDING_CAUTION
    return FindingLines(
        status=STATUS_WORDS[status],
        mark=finding.urgency,
        urgency=URGENCY_WORDS[finding.urgency],
        title=title_of(finding.kind, texts) + channel,
        sentence=sentence(finding.summary),
        when=_capital(span(finding.start_s, finding.end_s, report.timezone)),
        lost=bounded(finding.lost) if finding.lost else None,
        not_counted=not_counted(finding),
        lost_week=lost_week,
        check=sentence(check) if check else None,
        caution=sentence(caution) if check else None,
        href=base_url + finding_path(slug, finding),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class UrgentMail:
    """A finding that cannot wait for Monday."""

    subject: str
    site: str
    site_href: str
    since: str
    finding: FindingLines
    cautions: tuple[str, ...]
    checks: tuple[str, ...]
    settings_href: str
    stop_href: str | None


def urgent_mail(
    finding: Finding,
    *,
    report: Report,
    slug: str,
    base_url: str,
    texts: Texts,
    stop_url: str | None = None,
) -> Mail:
    """Write the mail about one finding that asks for somebody today."""
    lines = finding_lines(
        finding, report=report, slug=slug, base_url=base_url, texts=texts, status="new"
    )
    page = UrgentMail(
        subject=f"{lines.urgency}: {report.site} – {lines.title}",
        site=report.site,
        site_href=base_url + site_path(slug),
        since=moment(finding.start_s, report.timezone),
        finding=lines,
        cautions=tuple(sentence(item) for item in finding.cautions or (STANDING_CAUTION,)),
        checks=tuple(sentence(item) for item in finding.check_next),
        settings_href=f"{base_url}/settings",
        stop_href=stop_url,
    )
    return render_mail("urgent", page, stop_url=stop_url)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialMail:
    """A sign of life."""

    subject: str
    fleet_href: str
    settings_href: str
    stop_href: str | None = None


def trial_mail(*, base_url: str) -> Mail:
    """Write the mail that shows that mail arrives."""
    page = TrialMail(
        subject="Suntally: mail arrives",
        fleet_href=f"{base_url}/",
        settings_href=f"{base_url}/settings",
    )
    return render_mail("test", page)


@dataclass(frozen=True, slots=True, kw_only=True)
class PausedMail:
    """That an address was refused so often that nothing more is sent there."""

    subject: str
    address: str
    why: str
    settings_href: str
    stop_href: str | None = None


def paused_mail(*, address: str, why: str, base_url: str) -> Mail:
    """Write the mail that tells an owner of an address that takes no mail."""
    page = PausedMail(
        subject=f"Suntally: {address} takes no mail",
        address=address,
        why=why,
        settings_href=f"{base_url}/settings",
    )
    return render_mail("paused", page)


def render_mail(
    name: str, page: Any, *, parts: tuple[MailPart, ...] = (), stop_url: str | None = None
) -> Mail:
    """Render the three templates of a mail."""
    made = _environment()
    subject, text, html = (
        made.get_template(f"{name}/{part}").render(mail=page)
        for part in ("subject.txt", "body.txt", "body.html")
    )
    return Mail(
        subject=_one_line(subject), text=_tidy(text), html=html, parts=parts, stop_url=stop_url
    )


@lru_cache(maxsize=1)
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates" / "mail"),
        autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["wrap"] = wrap
    made.globals |= {
        "colour": LIGHT,
        "font": FONT_STACK.replace('"', "'"),
        "standing_caution": STANDING_CAUTION,
    }
    return made


def as_page(mail: Mail) -> str:
    """Give the HTML of a mail with its pictures in it, for a browser."""
    html = mail.html
    for part in mail.parts:
        if part.cid is None:
            continue
        data = base64.b64encode(part.content).decode()
        html = html.replace(f"cid:{part.cid}", f"data:{part.media_type};base64,{data}")
    return html


def wrap(text: str, indent: int = 0, mark: str = "") -> str:
    """Break a text into lines of at most 72 signs; `mark` stands before the first."""
    bare = " ".join(text.split())
    return textwrap.fill(
        bare,
        _TEXT_WIDTH,
        initial_indent=" " * indent + mark,
        subsequent_indent=" " * (indent + len(mark)),
        break_long_words=False,
        break_on_hyphens=False,
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _one_line(text: str) -> str:
    bare = " ".join(text.split())
    return bare if len(bare) <= _SUBJECT_LENGTH else bare[: _SUBJECT_LENGTH - 1] + "…"


def _tidy(text: str) -> str:
    """Leave at most one empty line in a row."""
    lines: list[str] = []
    for line in text.splitlines():
        bare = line.rstrip()
        if bare or (lines and lines[-1]):
            lines.append(bare)
    return "\n".join(lines).strip() + "\n"
