"""Weather files, the hours read from them, and the address to fetch more from."""

from datetime import date, datetime

from sqlalchemy import BigInteger, Date, ForeignKey, Index, LargeBinary, String, Text
from sqlalchemy import UniqueConstraint as Unique
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class WeatherFile(Base):
    """Weather that was handed in or fetched.

    `state` is `kept` (bytes are safe, not yet read), `stored` (its hours are in) or `refused`
    (`message` says why and what to do); `via` is `page`, `api` or `fetch`.
    """

    __tablename__ = "weather_file"
    __table_args__ = (Unique("site_id", "sha256"), Index(None, "state"), Index(None, "sha256"))

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"), index=True)
    sha256: Mapped[str] = mapped_column(String(64))
    name: Mapped[str] = mapped_column(String(300))
    size_bytes: Mapped[int] = mapped_column(BigInteger)
    via: Mapped[str] = mapped_column(String(10))
    state: Mapped[str] = mapped_column(String(10))
    message: Mapped[str | None] = mapped_column(Text)
    hours: Mapped[int] = mapped_column(default=0)
    first_s: Mapped[int | None] = mapped_column(BigInteger)
    last_s: Mapped[int | None] = mapped_column(BigInteger)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)


class WeatherDay(Base):
    """The hours of weather that start within one UTC day, as one block like those of the logs."""

    __tablename__ = "weather_day"

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    day: Mapped[date] = mapped_column(Date, primary_key=True)
    hours: Mapped[int]
    data: Mapped[bytes] = mapped_column(LargeBinary)


class WeatherSource(Base):
    """The address that a site's weather is fetched from, and how that goes.

    `next_at` is when it is asked again, `problem` why the last answer was of no use. Days before
    `settled_before` are not asked for again: the address had its chance long after they were over.
    """

    __tablename__ = "weather_source"

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    url: Mapped[str] = mapped_column(Text)
    next_at: Mapped[datetime] = mapped_column(UtcDateTime, index=True)
    asked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    tries: Mapped[int] = mapped_column(default=0)
    problem: Mapped[str | None] = mapped_column(Text)
    settled_before: Mapped[date | None] = mapped_column(Date)
