"""Figures that are first drawn by several threads at once, as by the first page after a start."""

import subprocess
import sys

DRAWN_AT_ONCE = """
import sys, threading
from concurrent.futures import ThreadPoolExecutor

sys.setswitchinterval(1e-5)
start = threading.Barrier(3)

def drawn(_):
    from dashboards.figures.plotly_program import graph_objects
    start.wait()
    go = graph_objects()
    return go.Figure([{"type": "bar", "x": [1, 2], "y": [3, 4]}]).to_json()

def reader():
    start.wait()
    import pandas

threading.Thread(target=reader, daemon=True).start()
with ThreadPoolExecutor(2) as pool:
    print(len(set(pool.map(drawn, range(2)))))
"""


def test_the_first_figures_may_be_drawn_at_once() -> None:
    done = subprocess.run(
        [sys.executable, "-c", DRAWN_AT_ONCE], capture_output=True, text=True, timeout=60
    )
    assert (done.returncode, done.stdout) == (0, "1\n"), done.stderr[-500:]
