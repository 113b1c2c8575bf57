"""The two ways a message leaves: to a mail server, or as a file into a folder."""

import os
import re
import smtplib
import ssl
from email.message import EmailMessage
from email.utils import parseaddr, parsedate_to_datetime
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self

from service.settings import Settings

_PATIENCE_S = 30.0
# Ports on which the connection is encrypted from its first byte.
_TLS_PORT = 465


class Transport(Protocol):
    """Takes messages away; connects when it is entered."""

    def __enter__(self) -> Self:
        """Connect."""

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Leave."""

    def deliver(self, message: EmailMessage) -> None:
        """Hand one message over; returns when it is in the other side's care."""


class SmtpTransport:
    """A mail server."""

    def __init__(self, settings: Settings) -> None:
        assert settings.smtp_host is not None
        self._settings = settings
        self._host = settings.smtp_host
        self._server: smtplib.SMTP | None = None

    def __enter__(self) -> Self:
        settings = self._settings
        context = ssl.create_default_context()
        if settings.smtp_port == _TLS_PORT:
            server: smtplib.SMTP = smtplib.SMTP_SSL(
                self._host, settings.smtp_port, timeout=_PATIENCE_S, context=context
            )
        else:
            server = smtplib.SMTP(self._host, settings.smtp_port, timeout=_PATIENCE_S)
        try:
            if settings.smtp_starttls and settings.smtp_port != _TLS_PORT:
                server.starttls(context=context)
            if settings.smtp_user is not None and settings.smtp_password is not None:
                server.login(settings.smtp_user, settings.smtp_password.get_secret_value())
        except BaseException:
            server.close()
            raise
        self._server = server
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        server, self._server = self._server, None
        if server is None:
            return
        try:
            server.quit()
        except (smtplib.SMTPException, OSError):
            server.close()  # everything that was accepted is accepted

    def deliver(self, message: EmailMessage) -> None:
        """Hand one message over."""
        assert self._server is not None
        sender = parseaddr(str(message["From"]))[1]
        recipient = parseaddr(str(message["To"]))[1]
        self._server.send_message(message, from_addr=sender, to_addrs=[recipient])


class FolderTransport:
    """A folder of .eml files, one per Message-ID: the same mail again is the same file."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __enter__(self) -> Self:
        self._folder.mkdir(parents=True, exist_ok=True)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        return None

    def deliver(self, message: EmailMessage) -> None:
        """Write one message as a file, whole or not at all."""
        target = self._folder / file_name(message)
        beside = target.with_name(f".{target.name}.{os.getpid()}")
        try:
            with beside.open("wb") as out:
                out.write(message.as_bytes())
                out.flush()
                os.fsync(out.fileno())
            beside.replace(target)
        finally:
            beside.unlink(missing_ok=True)


def file_name(message: EmailMessage) -> str:
    """Name a message by its date and its Message-ID."""
    when = parsedate_to_datetime(str(message["Date"]))
    name = str(message["Message-ID"]).strip("<>").partition("@")[0]
    return f"{when:%Y-%m-%d-%H%M}-{re.sub(r'[^A-Za-z0-9._-]', '-', name)[:120]}.eml"


def transport_for(settings: Settings) -> Transport:
    """Give the mail server, or the folder where none is set."""
    return SmtpTransport(settings) if settings.smtp_host else FolderTransport(settings.outbox)
