"""Stamps of one layout, read side by side, are those that are read one by one."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pyarrow as pa
import pytest

from analysis.logs.stamp_formats import format_told
from analysis.logs.stamps import UnreadableStampError

FORMATS = (
    "%d.%m.%Y %H:%M",
    "%Y-%m-%d %H:%M:%S",
    "%d/%m/%y %H:%M",
    "%d.%m.%Y %I:%M:%S %p",
    "%Y%m%d%H%M",
    "%d.%m.%Y",
)
STEPS_S = (1, 60, 3600, 86_400, 7_777_777)


@pytest.mark.parametrize("told", FORMATS)
@pytest.mark.parametrize("step_s", STEPS_S)
def test_side_by_side_and_one_by_one_agree(told, step_s):
    begin = datetime(2023, 12, 30, 11, 58, 58, tzinfo=UTC)
    texts = [(begin + timedelta(seconds=step_s * n)).strftime(told) for n in range(700)]
    one = format_told(told)
    want = [one.one(text) for text in texts]
    assert None not in want
    assert one.many(pa.array(texts)).tolist() == want


@pytest.mark.parametrize("bad", ["31.02.2024 10:00", "01.13.2024 10:00", "01.02.2024 24:30"])
def test_a_time_that_cannot_be_is_never_bent(bad):
    one = format_told("%d.%m.%Y %H:%M")
    texts = [f"{day:02d}.01.2024 10:00" for day in range(1, 29)]
    assert np.diff(one.many(pa.array(texts))).tolist() == [86_400] * 27
    with pytest.raises(UnreadableStampError):
        one.many(pa.array([*texts[:9], bad, *texts[9:]]))


def test_rows_of_another_zone_keep_theirs():
    one = format_told("%d.%m.%Y %H:%M %z")
    texts = ["01.06.2024 10:00 +0200", "01.06.2024 10:01 +0200", "01.06.2024 10:02 +0000"]
    got = one.many(pa.array(texts))
    assert np.diff(got).tolist() == [60, 60 + 7200]
