"""Claims on work, and the sign of life of each worker."""

from datetime import datetime

from sqlalchemy import String
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Claim(Base):
    """Somebody does, or has done, a piece of work named by its key (see `service.jobs.claims`).

    `state` is `held` until `lease_until`, then anybody may take it over; `done` is for good.
    `tries` counts how often it was taken without coming to an end: work that fails, or that its
    worker does not survive, rests longer each time.
    """

    __tablename__ = "claim"

    key: Mapped[str] = mapped_column(String(200), primary_key=True)
    state: Mapped[str] = mapped_column(String(10))
    holder: Mapped[str] = mapped_column(String(200), index=True)
    lease_until: Mapped[datetime] = mapped_column(UtcDateTime)
    claimed_at: Mapped[datetime] = mapped_column(UtcDateTime)
    tries: Mapped[int] = mapped_column(default=1, server_default="1")


class AnalysisPause(Base):
    """Somebody has the analyses of old reports wait; there is one row at most, numbered 1."""

    __tablename__ = "analysis_pause"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    since: Mapped[datetime] = mapped_column(UtcDateTime)
    who: Mapped[str] = mapped_column(String(200))


class Heartbeat(Base):
    """When a worker was last alive."""

    __tablename__ = "heartbeat"

    worker: Mapped[str] = mapped_column(String(200), primary_key=True)
    beat_at: Mapped[datetime] = mapped_column(UtcDateTime)
