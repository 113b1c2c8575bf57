"""What the analysis gave: a row per local day, the report, and which findings are known."""

import secrets
from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, BigInteger, Date, ForeignKey, Index, LargeBinary, String, Text, false
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class DayNames(Base):
    """What the numbers of days are called, in one text (see `service.assessments.row_queries`)."""

    __tablename__ = "day_names"

    key: Mapped[str] = mapped_column(String(32), primary_key=True)
    names: Mapped[str] = mapped_column(Text)


class DayRow(Base):
    """What one local day showed (an entry of `analysis.day_rows.day_rows`).

    `row` holds it with a key in place of the names (`DayNames`), and `numbers` its numbers; a row
    that an older version wrote has all in `row`.
    One that is `held` stands as it is, by whatever method: its samples are not all there any more.
    """

    __tablename__ = "day_row"
    # Whether all rows of a site are of this method is asked often; each holds a long text.
    __table_args__ = (Index(None, "site_id", "method", "held"),)

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    date: Mapped[date] = mapped_column(Date, primary_key=True)
    row: Mapped[dict[str, Any]] = mapped_column(JSON)
    numbers: Mapped[bytes | None] = mapped_column(LargeBinary)
    method: Mapped[str] = mapped_column(String(40))
    held: Mapped[bool] = mapped_column(default=False, server_default=false())


def new_mark() -> str:
    """Give the mark of a report that is written now."""
    return secrets.token_hex(16)


class SiteReport(Base):
    """The latest machine report of a site.

    `short` is what lists of sites need of it (`dashboards.short_report`), None where it was
    written before there were any; `mark` is another one with each writing. The contents are read
    when they are asked for (`service.assessments.built`).
    """

    __tablename__ = "report"
    # Whose report is old or of another method is asked for every task; the report is long.
    __table_args__ = (Index(None, "method", "made_at"),)

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    report: Mapped[dict[str, Any]] = mapped_column(JSON, deferred=True)
    short: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True), deferred=True)
    mark: Mapped[str] = mapped_column(String(32), default=new_mark, onupdate=new_mark)
    method: Mapped[str] = mapped_column(String(40))
    site_version: Mapped[int]
    data_until_s: Mapped[int] = mapped_column(BigInteger)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, index=True)


class FindingSeen(Base):
    """A finding that the site's report has shown, and whether it was mailed as urgent.

    `key` names a finding from one analysis to the next (see `dashboards.known`). Rows are
    made in the transaction that saves the report; the mail side fills `mailed_at`, and `case_id`
    leads to what people do about it.
    """

    __tablename__ = "finding_seen"

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    key: Mapped[str] = mapped_column(String(120), primary_key=True)
    kind: Mapped[str] = mapped_column(String(60))
    channel: Mapped[str | None] = mapped_column(String(40))
    start_s: Mapped[int] = mapped_column(BigInteger)
    first_seen_at: Mapped[datetime] = mapped_column(UtcDateTime)
    mailed_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    case_id: Mapped[int | None] = mapped_column(
        ForeignKey("finding_case.id", ondelete="SET NULL"), index=True
    )
