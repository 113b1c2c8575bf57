"""The moment that a statement asks about, bound when it runs: so it is put into words only once.

What bears a time far ahead of it was written by a clock that was wrong.
"""

from datetime import datetime, timedelta

from sqlalchemy import BindParameter, bindparam

from service.db.base import UtcDateTime

NOW: BindParameter[datetime] = bindparam("now", type_=UtcDateTime)
# No lease is as long, and no analysis is put off so long.
AHEAD: BindParameter[datetime] = bindparam("ahead", type_=UtcDateTime)
# No pause before somebody else is asked, or told, again is as long.
FAR_AHEAD: BindParameter[datetime] = bindparam("far_ahead", type_=UtcDateTime)
_AHEAD, _FAR_AHEAD = timedelta(days=1), timedelta(days=2)


def moment(now: datetime) -> dict[str, datetime]:
    """Give what a statement that asks about `NOW` is run with."""
    return {"now": now, "ahead": now + _AHEAD, "far_ahead": now + _FAR_AHEAD}
