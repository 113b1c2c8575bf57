"""How long reading takes: `python -m tests.bench.log_reading [days]`.

A tidy log and the same in a dirty dialect (semicolons, decimal commas, dd.mm.yyyy), one minute, ten
channels; with and without a map; against a bare `pandas.read_csv` of the tidy one. Then inputs made
to hurt, at two sizes: time and peak of traced memory per size. The best of four runs counts.
"""

import io
import sys
import time
import tracemalloc
from dataclasses import replace

import numpy as np

from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_site
from fixtures.logfile import DIRTY_HEADS, dirty_csv, tidy_csv
from fixtures.scenario import home, site_toml
from fixtures.sensors import STANDARD_CHANNELS, observe
from fixtures.simulate import simulate
from tests.fuzz.target import read_any
from tests.fuzz.test_reader_linear import HOSTILE


def best(work, runs: int = 4) -> float:
    """Give the shortest of several runs [s]."""
    took = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)


def main() -> None:
    """Measure and print."""
    import pandas as pd

    days = int(sys.argv[1]) if len(sys.argv) > 1 else 365
    scenario = home()
    run = simulate(scenario, seed=1, days=days)
    tidy = tidy_csv(observe(run, seed=1, sensors="site", channels=STANDARD_CHANNELS))
    dirty = dirty_csv(tidy)
    site = replace(parse_site(site_toml(scenario)), log=LogMap(timezone="UTC"))
    names = tidy.partition(b"\n")[0].decode().strip().split(",")[1:]
    channels = dict(zip(names, STANDARD_CHANNELS, strict=True))
    entries = tuple(
        (DIRTY_HEADS[name], ColumnMeaning(channel=channels[name], unit=None)) for name in names
    )
    told = LogMap(columns=entries)
    one, other = LogSource(name="tidy.csv", data=tidy), LogSource(name="dirty.csv", data=dirty)
    straight = read_logs([one], site=site)
    turned = read_logs([other], site=site, log_map=told)
    assert np.array_equal(straight.stamp_s, turned.stamp_s)
    assert all(
        np.array_equal(values, turned.columns[name], equal_nan=True)
        for name, values in straight.columns.items()
    )
    bare = best(lambda: pd.read_csv(io.BytesIO(tidy), parse_dates=["time"]))
    times = {
        "tidy": best(lambda: read_logs([one], site=site)),
        "dirty, with a map": best(lambda: read_logs([other], site=site, log_map=told)),
        "dirty, without a map": best(lambda: read_logs([other], site=site, keep_open=True)),
    }
    print(f"{days} days at one minute, tidy {len(tidy) / 1e6:.0f} MB; read_csv {bare:.3f} s")
    for name, took in times.items():
        print(f"{name:22} {took:.3f} s  {took / bare:.2f} x read_csv  {took / times['tidy']:.2f}")
    print("\ninputs made to hurt, four times as large:")
    for name, made in HOSTILE.items():
        small, large = made(8_000).encode(), made(32_000).encode()
        took = [best(lambda data=data: read_any(data), 2) for data in (small, large)]
        peaks = []
        for data in (small, large):
            tracemalloc.start()
            read_any(data)
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
        print(
            f"{name:30} {len(large) / 1e6:5.1f} MB {took[1]:6.2f} s"
            f"  time x{took[1] / took[0]:.1f}  memory x{peaks[1] / peaks[0]:.1f}"
        )


if __name__ == "__main__":
    main()
