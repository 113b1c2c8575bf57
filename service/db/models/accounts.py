"""Firms, their accounts, signed-in browsers and the link that sets the first password."""

from datetime import datetime

from sqlalchemy import JSON, BigInteger, ForeignKey, Index, String, false
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Firm(Base):
    """Who owns sites and accounts; every row belongs to one, directly or through its site.

    `base_*` is where its people set out from.
    """

    __tablename__ = "firm"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200))
    base_latitude_deg: Mapped[float | None]
    base_longitude_deg: Mapped[float | None]
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)


class Account(Base):
    """Somebody who may sign in.

    `password_hash` is None until the account's link was used. `totp_secret` is the second
    factor's key (RFC 6238); `totp_step` the last time step that was used, so that a code works
    once; `totp_confirmed` whether a code proved that the phone has it. `recovery_hashes` are the
    codes for a lost phone. Somebody who left has `closed_at`.
    """

    __tablename__ = "account"

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"), index=True)
    login: Mapped[str] = mapped_column(String(200), unique=True)
    name: Mapped[str] = mapped_column(String(200), default="", server_default="")
    password_hash: Mapped[str | None] = mapped_column(String(300))
    role: Mapped[str] = mapped_column(String(20), default="owner")
    totp_secret: Mapped[str | None] = mapped_column(String(64))
    totp_confirmed: Mapped[bool] = mapped_column(default=False, server_default=false())
    totp_step: Mapped[int] = mapped_column(BigInteger, default=0, server_default="0")
    recovery_hashes: Mapped[list[str]] = mapped_column(JSON, default=list, server_default="[]")
    closed_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)


class WebSession(Base):
    """A signed-in browser; only the hash of its cookie is kept.

    With `code_due` the password was right and the second factor's code is still to come; until
    then the browser sees nothing. `used_at` is when it was last used, to some minutes; `device`
    what it runs on (see `service.accounts.sessions`), None from before that was kept.
    """

    __tablename__ = "web_session"

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    account_id: Mapped[int] = mapped_column(
        ForeignKey("account.id", ondelete="CASCADE"), index=True
    )
    device: Mapped[str | None] = mapped_column(String(20))
    code_due: Mapped[bool] = mapped_column(default=False, server_default=false())
    tries: Mapped[int] = mapped_column(default=0, server_default="0")
    used_at: Mapped[datetime] = mapped_column(UtcDateTime)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    expires_at: Mapped[datetime] = mapped_column(UtcDateTime, index=True)


class SetupLink(Base):
    """A one-time link that sets a password; only its hash is kept.

    Without an account it makes the firm's first owner.
    """

    __tablename__ = "setup_link"

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"), index=True)
    account_id: Mapped[int | None] = mapped_column(
        ForeignKey("account.id", ondelete="CASCADE"), index=True
    )
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    expires_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class FirmKey(Base):
    """A key of the firm for programs; shown once, only its hash is kept."""

    __tablename__ = "firm_key"

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"), index=True)
    label: Mapped[str] = mapped_column(String(100))
    role: Mapped[str] = mapped_column(String(20))
    key_hash: Mapped[str] = mapped_column(String(64), unique=True)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class TrailEntry(Base):
    """Who did what: a line of the audit trail, written with what it tells of.

    `what` names the deed (see `service.accounts.trail`), `subject` what it was done to, `count`
    how often within its hour, where that is counted (`service.accounts.sign_ins`).
    """

    __tablename__ = "trail_entry"
    __table_args__ = (Index(None, "firm_id", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    who: Mapped[str] = mapped_column(String(200))
    what: Mapped[str] = mapped_column(String(60))
    subject: Mapped[str | None] = mapped_column(String(200))
    count: Mapped[int] = mapped_column(default=1, server_default="1")


class ServerSecret(Base):
    """A key of this installation: 1 signs links, 2 signs bundles (see `accounts.signing`)."""

    __tablename__ = "server_secret"

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String(100))


class CustomerLink(Base):
    """A signed link with which a customer sees the sheet of one site, until it ends."""

    __tablename__ = "customer_link"

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"), index=True)
    label: Mapped[str] = mapped_column(String(200))
    made_by: Mapped[str] = mapped_column(String(200))
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    expires_at: Mapped[datetime] = mapped_column(UtcDateTime)
    withdrawn_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    opened_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
