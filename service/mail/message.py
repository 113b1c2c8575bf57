"""A waiting mail as the message that leaves."""

from collections.abc import Sequence
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from service.db.models import Outbox, OutboxPart


def message_of(mail: Outbox, parts: Sequence[OutboxPart] = (), *, sender: str) -> EmailMessage:
    """Build the message; the same row gives the same headers however often it is sent.

    It says that a machine wrote it, so that no machine answers (RFC 3834), and where one request
    ends such mail (RFC 2369, RFC 8058). Pictures stand inside the HTML (RFC 2387).

    Raises
    ------
    ValueError : an address or a subject that no header can hold
    """
    message = EmailMessage(policy=SMTP)
    message["From"] = sender
    message["To"] = mail.recipient
    message["Subject"] = mail.subject
    message["Date"] = format_datetime(mail.created_at)
    message["Message-ID"] = mail.message_id
    message["Auto-Submitted"] = "auto-generated"
    if mail.stop_url:
        message["List-Unsubscribe"] = f"<{mail.stop_url}>"
        message["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    message.set_content(mail.text, cte="quoted-printable")
    message.add_alternative(mail.html, subtype="html", cte="quoted-printable")
    html = message.get_payload(1)
    assert isinstance(html, EmailMessage)
    for part in parts:
        main, _, sub = part.media_type.partition("/")
        if part.cid is None:
            message.add_attachment(part.content, maintype=main, subtype=sub, filename=part.name)
        else:
            html.add_related(
                part.content,
                maintype=main,
                subtype=sub,
                cid=f"<{part.cid}>",
                filename=part.name,
                disposition="inline",
            )
    return message
