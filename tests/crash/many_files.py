"""Two hundred small invented logs, and what a store holds of them."""

from datetime import UTC, datetime, timedelta

from sqlalchemy import select

from service.db.engine import Database
from service.db.models import ChannelSeen, DayBlock, DayLayer, DayRow, Upload
from tests.build_service import tidy_log

FIRST = datetime(2025, 4, 1, tzinfo=UTC)
COUNT = 200


def small_logs(count: int = COUNT) -> list[tuple[str, str]]:
    """Give names and texts: six hours each, every third overlapping, every seventh corrected."""
    logs = []
    for number in range(count):
        start = FIRST + timedelta(hours=6 * number)
        if number % 3 == 2:
            start -= timedelta(hours=3)  # overlaps, and says something else there
        if number % 7 == 6:
            start -= timedelta(hours=6, minutes=-4)  # the same span on other stamps
        logs.append((f"part-{number:03}.csv", tidy_log(first=start, hours=6, seed=number)))
    return logs


def stored(database: Database) -> dict[str, object]:
    """Give everything that files leave behind, to be compared byte by byte."""
    with database.reading() as db:
        layers = select(
            DayLayer.day, DayLayer.upload_id, DayLayer.rows, DayLayer.data, DayLayer.replaced
        ).order_by(DayLayer.day, DayLayer.upload_id)
        blocks = select(DayBlock.day, DayBlock.rows, DayBlock.data, DayBlock.values_hash)
        uploads = select(Upload.sha256, Upload.name, Upload.state, Upload.rows_read)
        return {
            "uploads": [tuple(row) for row in db.execute(uploads.order_by(Upload.id))],
            "blocks": [tuple(row) for row in db.execute(blocks.order_by(DayBlock.day))],
            "layers": [tuple(row) for row in db.execute(layers)],
            "channels": sorted(db.scalars(select(ChannelSeen.channel))),
            "rows": {one.date: (one.row, one.numbers) for one in db.scalars(select(DayRow))},
        }
