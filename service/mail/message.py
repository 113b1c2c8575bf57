"""A waiting mail as the message that leaves."""

from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from service.db.models import Outbox


def message_of(mail: Outbox, *, sender: str) -> EmailMessage:
    """Build the message; the same row gives the same headers however often it is sent.

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
    message.set_content(mail.text, cte="quoted-printable")
    message.add_alternative(mail.html, subtype="html", cte="quoted-printable")
    return message
