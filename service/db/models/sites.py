"""Sites, the site files they had before, and the keys of their gateways."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, String, Text, UniqueConstraint, false
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Site(Base):
    """An installation that is watched.

    `text` is the site file as given; it parsed when it was accepted. `stamp` says which end of
    its step the stored stamps mark, once there are any. `problem` says in plain words why the
    site could not be assessed, None while it can. A site with `deleted_at` is out of sight and
    can be brought back until it is purged. An `invented` one is there to try things on: no mail,
    list of visits or other program ever hears of it.
    """

    __tablename__ = "site"
    __table_args__ = (UniqueConstraint("firm_id", "slug"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"), index=True)
    slug: Mapped[str] = mapped_column(String(80))
    name: Mapped[str] = mapped_column(String(200))
    timezone: Mapped[str] = mapped_column(String(64))
    text: Mapped[str] = mapped_column(Text)
    version: Mapped[int] = mapped_column(default=1)
    stamp: Mapped[str | None] = mapped_column(String(5))
    problem: Mapped[str | None] = mapped_column(Text)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    deleted_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    invented: Mapped[bool] = mapped_column(default=False, server_default=false())


class SiteFileVersion(Base):
    """A site file that was replaced, when and by whom; kept for the record."""

    __tablename__ = "site_file_version"
    __table_args__ = (UniqueConstraint("site_id", "version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"))
    version: Mapped[int]
    text: Mapped[str] = mapped_column(Text)
    replaced_at: Mapped[datetime] = mapped_column(UtcDateTime)
    replaced_by: Mapped[str | None] = mapped_column(String(200))


class ApiKey(Base):
    """A gateway's key for one site; shown once, only its hash is kept."""

    __tablename__ = "api_key"
    __table_args__ = (Index(None, "site_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"))
    label: Mapped[str] = mapped_column(String(100))
    key_hash: Mapped[str] = mapped_column(String(64), unique=True)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
