"""Builders for tests of mail: a back end with an invented report, readers, and a mail server."""

import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage

from analysis.results import Finding, Report
from dashboards.links import finding_key
from service.db.models import FindingSeen, Outbox, Recipient, Site
from service.jobs.schedule import Timetable
from tests.build_report import a_finding, a_report, at
from tests.build_service import BackEnd

# Monday, 22 September 2025, 06:30 in London; the digest is about week 38.
MONDAY = datetime(2025, 9, 22, 5, 30, tzinfo=UTC)
LONG_AGO = datetime(2025, 1, 1, tzinfo=UTC)


def frost(**given: object) -> Finding:
    """Give an urgent finding that lasts."""
    return a_finding(
        **{"kind": "frost_risk", "urgency": "act", "start_s": at(9, 17), "end_s": None,
           "lost": None, "summary": "The loop came down to -9 °C at night.", **given}
    )  # fmt: skip


def save_report(
    back: BackEnd, slug: str, report: Report, *, seen_at: datetime | None = None
) -> None:
    """Save a report as the analysis does, its findings seen for the first time at a moment."""
    from service.assessments.queries import save_report as save

    now = back.clock.now()
    with back.database.session() as db:
        site = db.get(Site, back.site_id(slug))
        assert site is not None
        save(
            db,
            site=site,
            report=report,
            method="test",
            data_until_s=report.end_s,
            now=now,
        )
        for finding in report.findings:
            key = finding_key(finding)
            if db.get(FindingSeen, (site.id, key)) is None:
                db.add(
                    FindingSeen(
                        site_id=site.id,
                        key=key,
                        kind=finding.kind,
                        channel=finding.channel,
                        start_s=finding.start_s,
                        first_seen_at=seen_at or now,
                    )
                )


def add_reader(back: BackEnd, address: str = "office@example.org", **given: object) -> int:
    """Add somebody who gets mail; gives the number."""
    with back.database.session() as db:
        reader = Recipient(
            **{"firm_id": back.firm_id, "address": address, "name": "", "digest": True,
               "timezone": "Europe/London", "created_at": LONG_AGO, **given}
        )  # fmt: skip
        db.add(reader)
        db.flush()
        return reader.id


def fleet(back: BackEnd, **given: object) -> str:
    """Set up one site with a report, as of Monday morning; gives its slug."""
    back.clock.moment = MONDAY
    slug = back.add_site("Mill Lane 4")
    save_report(back, slug, a_report(**given))
    return slug


def timetable(back: BackEnd, holder: str = "worker-1") -> Timetable:
    """Give a timetable of a worker."""
    return Timetable(
        settings=back.settings, database=back.database, clock=back.clock, holder=holder
    )


def mails(back: BackEnd) -> list[Outbox]:
    """Give all mails of the outbox, in order."""
    from sqlalchemy import select

    with back.database.reading() as db:
        return list(db.scalars(select(Outbox).order_by(Outbox.id)))


def files(back: BackEnd) -> list[EmailMessage]:
    """Give the messages that became files, by name."""
    return [
        message_from_bytes(path.read_bytes(), policy=policy.default)
        for path in sorted(back.settings.outbox.glob("*.eml"))
    ]


@dataclass
class MailServer:
    """A mail server of the least that RFC 5321 asks; it refuses who it is told to refuse."""

    host: str = ""
    port: int = 0
    taken: list[tuple[str, EmailMessage]] = field(default_factory=list)
    refuse: dict[str, str] = field(default_factory=dict)


@contextmanager
def mail_server() -> Iterator[MailServer]:
    """Run a mail server on this machine."""
    state = MailServer()

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            self._say("220 ready")
            recipient = ""
            while line := self.rfile.readline():
                verb = line.decode().strip()
                word = verb[:4].upper()
                if word == "RCPT":
                    recipient = verb.partition("<")[2].partition(">")[0]
                    self._say(state.refuse.get(recipient, "250 fine"))
                elif word == "DATA":
                    self._say("354 go on")
                    state.taken.append((recipient, self._message()))
                    self._say("250 taken")
                elif word == "QUIT":
                    self._say("221 bye")
                    return
                else:
                    self._say("250 fine")

        def _message(self) -> EmailMessage:
            lines = []
            while (line := self.rfile.readline()) != b".\r\n":
                lines.append(line[1:] if line.startswith(b"..") else line)
            return message_from_bytes(b"".join(lines), policy=policy.default)

        def _say(self, text: str) -> None:
            self.wfile.write(f"{text}\r\n".encode())

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler) as server:
        server.daemon_threads = True
        state.host, state.port = server.server_address[:2]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield state
        finally:
            server.shutdown()
            thread.join()
