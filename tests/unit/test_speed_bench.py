"""The bench of speed does the whole job, on a log of three days."""

import numpy as np

from fixtures import make
from fixtures.speed.job import NOW, Store, database_of, dirty_log, record_of, tidy_log
from fixtures.speed.limits import Figure


def test_the_bench_reads_stores_analyses_and_pushes(tmp_path):
    make.main([str(tmp_path), "--start", "2026-05-29", "--days", "3"])
    tidy = tidy_log(tmp_path)
    dirty = dirty_log(tidy)
    parsed, turned = tidy.read(), dirty.read()
    np.testing.assert_array_equal(parsed.stamp_s, turned.stamp_s)
    assert parsed.columns.keys() == turned.columns.keys()
    for name, values in parsed.columns.items():
        np.testing.assert_array_equal(values, turned.columns[name])
    tidy.analyse(parsed, record_of(parsed))
    with database_of(tmp_path) as database:
        store = Store(database, tmp_path, tidy.text)
        store.lay(tidy, parsed)
        store.assess()
        store.change_day()
        store.assess()
        store.plot(2)
        assert 0.0 < store.stored_bytes_per_row() < 100.0
        before = stored_rows(database, store)
        store.push(10, 0)
        assert stored_rows(database, store) == before + 10


def stored_rows(database, store):
    from service.ingest import queries

    end_s = int(NOW.timestamp()) + 86400
    with database.reading() as db:
        return queries.count_rows(db, site_id=store.site_id, start_s=0, end_s=end_s)


def test_a_figure_over_its_limit_says_so():
    assert Figure(name="reading", value=0.9, unit="R", most=0.7).line().endswith("OVER")
    assert Figure(name="reading", value=0.7, unit="R", most=0.7).kept
